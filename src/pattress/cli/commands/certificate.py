"""`pattress certificate`: a page and a label of a close-in check."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.options import AsJson, SiteFolder, load, run, store_path
from pattress.cli.output import ALL_MET, BROKEN, UNVERIFIED, give, give_json, leave, tell
from pattress.model.errors import ReportError, UsageError

if TYPE_CHECKING:
    from pattress.model.site import Site
    from pattress.report.certificate_record import CertificateRecord


def certificate(
    point: Annotated[str, typer.Argument(metavar="POINT", help="The point.")],
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="The page, as HTML; else stdout.")] = None,
    label: Annotated[
        Path | None, typer.Option("--label", metavar="FILE", help="A label of 40 x 20 mm, .svg or .html.")
    ] = None,
    check: Annotated[
        int | None, typer.Option("--check", min=1, help="The number of a check; else the newest that was signed off.")
    ] = None,
    site: SiteFolder = Path(),
    json: AsJson = False,
) -> None:
    """Give the certificate of a point's close-in check as one page, and a label with a code for its plate.

    Print the page from a browser, also as PDF. With --label alone only the label is written. The same record gives
    the same bytes. A check that was not signed off gets a page that says so. The exit status is that of the check.

    Example: pattress certificate hall-lights --out hall-lights.html --label hall-lights.svg --site ~/house
    """
    if label is not None and label.suffix.lower() not in (".svg", ".html"):
        raise UsageError(
            f"{label.name!r} is no name of a label", where="--label", next_step="Let it end in .svg or .html."
        )
    loaded = load(site)
    record = run(_record(loaded, point, check))
    if label is not None:
        _write(label, _label(record, label))
    if out is not None:
        _write(out, _page(record))
    if json:
        from pattress.report.certificate_document import certificate_document

        give_json(certificate_document(record))
    elif out is None and label is None:
        give(_page(record))
    if record.page_url is None and (label is not None or out is not None):
        tell("The code holds the point's name alone: page_url in site.toml would make it lead to the point's page.")
    if not record.is_signed:
        tell("This is no certificate: the check was not signed off in order.")
    leave(_status(record))


async def _record(site: "Site", point: str, number: int | None) -> "CertificateRecord":
    from pattress.closein.record import certificate_record
    from pattress.store.store import Store

    async with Store.open(store_path(site), read_only=True) as store:
        return await certificate_record(site, store, point, number)


def _page(record: "CertificateRecord") -> str:
    from pattress.report.certificate import certificate_html

    return certificate_html(record)


def _label(record: "CertificateRecord", file: Path) -> str:
    from pattress.report.label import label_html, label_svg

    try:
        return label_svg(record) if file.suffix.lower() == ".svg" else label_html(record)
    except ValueError as error:
        raise UsageError(
            f"{error}: it would hold {len(record.code_text)} characters",
            where=f"label of {record.check.point}",
            next_step="Shorten page_url in site.toml, or the point's name.",
        ) from error


def _write(file: Path, text: str) -> None:
    from pattress.cli.reports import write_whole

    try:
        write_whole(str(file), [text.encode("utf-8")])
    except OSError as error:
        raise ReportError(
            f"it could not be written ({error.strerror or error})",
            where=str(file),
            next_step="See that the folder is there, may be written to and has room.",
        ) from error


def _status(record: "CertificateRecord") -> int:
    if record.verdict == "in-order":
        return ALL_MET
    return BROKEN if record.counts["broken"] or record.verdict == "not-in-order" else UNVERIFIED
