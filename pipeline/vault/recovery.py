"""The recovery key as it is written on paper: eight groups of four signs and a check sign each.

32 signs of Crockford's base 32 (no I, L, O, U) are 160 random bits. The check sign of a group is by Luhn's algorithm
modulo 32 over the group's number and signs: it finds every single wrong sign, nearly every two that changed places,
and groups in the wrong order, and tells which group it is.
"""

import secrets

from pipeline.errors import InputError

SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_GROUPS, _SIGNS_A_GROUP = 8, 4
_ALIKE = str.maketrans("ILO", "110")  # read so by Crockford's rule


def new_recovery() -> str:
    """A new recovery key: ``0A1B2 …``, groups with a blank between."""
    groups = ("".join(secrets.choice(SIGNS) for _ in range(_SIGNS_A_GROUP)) for _ in range(_GROUPS))
    return " ".join(group + _check(n, group) for n, group in enumerate(groups))


def read_recovery(typed: str) -> str:
    """The 32 signs of a recovery key as typed. Raises InputError naming the group that holds a slip."""
    signs = "".join(typed.upper().translate(_ALIKE).replace("-", " ").split())
    size = _SIGNS_A_GROUP + 1
    if len(signs) != _GROUPS * size or set(signs) - set(SIGNS):
        raise InputError(f"that is no recovery key: it has {_GROUPS} groups of {size} signs.")
    groups = [signs[k : k + size] for k in range(0, len(signs), size)]
    for n, group in enumerate(groups):
        if _check(n, group[:-1]) != group[-1]:
            raise InputError(f"group {n + 1} of the recovery key, {group}, holds a slip; look at the paper again.")
    return "".join(group[:-1] for group in groups)


def _check(number: int, group: str) -> str:
    total, factor = 0, 2
    for sign in reversed(SIGNS[number] + group):
        addend = factor * SIGNS.index(sign)
        total += addend // len(SIGNS) + addend % len(SIGNS)
        factor = 3 - factor
    return SIGNS[-total % len(SIGNS)]
