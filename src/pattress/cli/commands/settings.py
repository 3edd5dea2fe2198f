"""`pattress settings`: the vocabulary."""

from typing import Annotated

import typer

from pattress.cli.options import AsJson
from pattress.cli.output import give, give_json
from pattress.model.errors import UsageError


def settings(
    group: Annotated[str | None, typer.Argument(help="One group, such as output; all if not given.")] = None,
    json: AsJson = False,
) -> None:
    """List the setting names that rules, plans and profiles use, with type, range and meaning.

    Example: pattress settings output
    """
    from pattress.model.vocabulary import definitions, groups

    if group is not None and group not in groups():
        raise UsageError(
            f"there is no group {group!r}", where="pattress settings", next_step=f"Use one of: {', '.join(groups())}."
        )
    chosen = [one for one in definitions() if group in (None, one.group)]
    if json:
        from pattress.report.document import settings_document

        give_json(settings_document(chosen))
        return
    from pattress.report.reference import settings_text

    give(settings_text(chosen))
