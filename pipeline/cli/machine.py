"""How things stand on this computer."""

import typer

from pipeline.cli.app import Json, app, json_text, print_lines


@app.command()
def doctor(as_json: Json = False) -> None:
    """Show what is installed, which speech model is used, where your data lies, and the free disk."""
    from pipeline.config import load_config
    from pipeline.doctor import examine
    from pipeline.show import finding_lines

    findings = examine(load_config())
    print_lines([json_text([f.model_dump() for f in findings])] if as_json else finding_lines(findings))
    if not all(finding.good for finding in findings):
        raise typer.Exit(1)
