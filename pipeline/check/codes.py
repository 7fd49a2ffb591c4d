"""Diagnosis codes that may be offered; the clinician picks. A code that is no leaf of the list is refused."""

from pipeline.check.norms import Norms
from pipeline.check.rows import Code
from pipeline.errors import InputError


def leaf_code(code: str, norms: Norms) -> Code:
    """The code's row. Raises InputError if it is not a leaf (cannot stand in a record) or not in our list."""
    row = next((row for row in norms.codes if row.id == code.strip().upper()), None)
    if row is None:
        raise InputError(f"The code {code!r} is not in vocab/norms/tables/codes.yaml. Check it in the current tables.")
    if not row.leaf:
        raise InputError(f"The code {code!r} ({row.label}) is not a leaf: choose one of the codes below it.")
    return row
