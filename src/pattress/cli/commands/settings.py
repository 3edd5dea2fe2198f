"""`pattress settings`: the vocabulary."""

from typing import Annotated

import typer

from pattress.cli.options import AsJson
from pattress.cli.output import give, give_json, style
from pattress.model.errors import UsageError


def settings(
    section: Annotated[str | None, typer.Argument(help="One section, such as output; all if not given.")] = None,
    json: AsJson = False,
) -> None:
    """List the setting names that rules, plans and profiles use, with type, range and meaning.

    Example: pattress settings output
    """
    from pattress.model.vocabulary import definitions, sections

    if section is not None and section not in sections():
        raise UsageError(
            f"there is no section {section!r}",
            where="pattress settings",
            next_step=f"Use one of: {', '.join(sections())}.",
        )
    chosen = [one for one in definitions() if section in (None, one.section)]
    if json:
        from pattress.report.document import settings_document

        give_json(settings_document(chosen))
        return
    from pattress.report.reference import settings_text

    give(settings_text(chosen, style()))
