"""What the page gives away as a file: the shortlist as ``match --csv`` writes it, the sheet as ``sheet --pdf`` does."""

from base64 import b64encode
from collections.abc import Callable

from propmatch.catalogue.catalogue import Catalogue
from propmatch.columns import comma_separated
from propmatch.records.brief import Brief
from propmatch.search.listed import ROWS, match_rows
from propmatch.search.matching import match
from propmatch.sheet.case import Sheet
from propmatch.sheet.pdf import sheet_pdf

__all__ = ["pdf_file", "shortlist_csv"]


def shortlist_csv(
    brief: Brief, catalogue: Catalogue, variant: str | None = None, *,
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, str]:  # fmt: skip
    """The best of each cell count, as a file."""
    found = match(brief, catalogue, top=ROWS, variant=variant, progress=progress)
    text = comma_separated([row.data for row in match_rows(found, ROWS)])
    return {"file": "shortlist.csv", "type": "text/csv", "text": text}


def pdf_file(sheet: Sheet) -> dict[str, str]:
    """A build sheet as a PDF; raises ``InputFaults`` where nothing is there that makes one."""
    return {"file": "sheet.pdf", "type": "application/pdf", "base64": b64encode(sheet_pdf(sheet)).decode()}
