"""Small workbooks made by hand, so that they cost no more than the reading: .xlsx and .ods as ZIP archives of XML, .xls
as a compound file with BIFF8 records.

Sources: ISO/IEC 29500 (SpreadsheetML), OASIS OpenDocument 1.3, Microsoft Open Specifications [MS-CFB] and [MS-XLS].
"""

import datetime
import io
import struct
import zipfile
from random import Random
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from .writing import damaged

__all__ = ["damaged_inside", "ods", "xls", "xlsx"]


def _zip(members: dict[str, str]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as book:
        for name, text in members.items():
            book.writestr(name, text)
    return out.getvalue()


def damaged_inside(rng: Random, raw: bytes) -> bytes:
    """An archive one of whose members is damaged, the archive itself whole."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as book:
            members = {name: book.read(name) for name in book.namelist()}
    except zipfile.BadZipFile:
        return damaged(rng, raw)
    name = rng.choice(list(members))
    members[name] = damaged(rng, members[name])
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as book:
        for each, content in members.items():
            book.writestr(each, content)
    return out.getvalue()


def _letters(column: int) -> str:
    return chr(65 + column)


def xlsx(sheet: str, rows: list[list[Any]]) -> bytes:
    def cell(row: int, column: int, value: Any) -> str:
        place = f'r="{_letters(column)}{row}"'
        if isinstance(value, bool):
            return f'<c {place} t="b"><v>{int(value)}</v></c>'
        if isinstance(value, datetime.datetime):
            return f'<c {place} t="d"><v>{value.isoformat()}</v></c>'
        if isinstance(value, float):
            return f"<c {place}><v>{value!r}</v></c>"
        text = escape(str(value))
        return f'<c {place} t="inlineStr"><is><t xml:space="preserve">{text}</t></is></c>' if text else ""

    body = "".join(
        f'<row r="{at}">' + "".join(cell(at, column, value) for column, value in enumerate(row)) + "</row>"
        for at, row in enumerate(rows, start=1)
    )
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    kinds = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    return _zip({
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override PartName="/xl/workbook.xml" '
        f'ContentType="{kinds}.sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" '
        f'ContentType="{kinds}.worksheet+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="r1" '
        f'Type="{office}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{office}"><sheets><sheet name={quoteattr(sheet)} '
        'sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="r1" '
        f'Type="{office}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{main}"><sheetData>{body}</sheetData></worksheet>',
    })  # fmt: skip


def ods(sheet: str, rows: list[list[Any]]) -> bytes:
    def cell(value: Any) -> str:
        if isinstance(value, bool):
            return f'<table:table-cell office:value-type="boolean" office:boolean-value="{str(value).lower()}"/>'
        if isinstance(value, datetime.datetime):
            return f'<table:table-cell office:value-type="date" office:date-value="{value.isoformat()}"/>'
        if isinstance(value, float):
            kind = f'office:value-type="float" office:value="{value!r}"'
            return f"<table:table-cell {kind}><text:p>{value}</text:p></table:table-cell>"
        if value == "":
            return "<table:table-cell/>"
        lines = "".join(f"<text:p>{escape(line)}</text:p>" for line in str(value).split("\n"))
        return f'<table:table-cell office:value-type="string">{lines}</table:table-cell>'

    body = "".join("<table:table-row>" + "".join(map(cell, row)) + "</table:table-row>" for row in rows)
    spaces = " ".join(
        f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"' for name in ("office", "table", "text")
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    return _zip({
        "mimetype": kind,
        "META-INF/manifest.xml": "<manifest:manifest "
        'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/></manifest:manifest>',
        "content.xml": f"<office:document-content {spaces}><office:body><office:spreadsheet><table:table "
        f"table:name={quoteattr(sheet)}>{body}</table:table></office:spreadsheet></office:body></office:document-content>",
    })  # fmt: skip


def _record(number: int, data: bytes = b"") -> bytes:
    return struct.pack("<HH", number, len(data)) + data


def _text(text: str, long: bool) -> bytes:
    raw = text.encode("utf-16-le", errors="replace")
    return struct.pack("<HB" if long else "<BB", len(raw) // 2, 1) + raw


def xls(sheet: str, rows: list[list[Any]]) -> bytes:
    """BIFF8: numbers as NUMBER, true and false as BOOLERR, all else as LABEL."""
    begin = _record(0x0809, struct.pack("<HHHHII", 0x0600, 0x0005, 0, 0, 0, 0x06))
    cells = _record(0x0809, struct.pack("<HHHHII", 0x0600, 0x0010, 0, 0, 0, 0x06))
    cells += _record(0x0200, struct.pack("<IIHHH", 0, len(rows), 0, len(rows[0]), 0))
    for at, row in enumerate(rows):
        for column, value in enumerate(row):
            place = struct.pack("<HHH", at, column, 0)
            if isinstance(value, bool):
                cells += _record(0x0205, place + struct.pack("<BB", int(value), 0))
            elif isinstance(value, float):
                cells += _record(0x0203, place + struct.pack("<d", value))
            elif str(value) != "":
                cells += _record(0x0204, place + _text(str(value)[:255], True))
    cells += _record(0x000A)
    name = _text(sheet, False)
    place = len(begin) + 4 + 6 + len(name) + 4
    stream = begin + _record(0x0085, struct.pack("<IH", place, 0) + name) + _record(0x000A) + cells
    return _compound(stream.ljust(4096, b"\0"))


def _compound(stream: bytes) -> bytes:
    """A compound file with one stream of at least 4096 bytes, ``Workbook``."""
    sectors = -(-len(stream) // 512)
    free, end, fat_mark, none = 0xFFFFFFFF, 0xFFFFFFFE, 0xFFFFFFFD, 0xFFFFFFFF
    fat = [fat_mark, end, *range(3, 2 + sectors), end]
    fat_sector = struct.pack("<128I", *(fat + [free] * (128 - len(fat))))

    def entry(name: str, kind: int, child: int, start: int, size: int) -> bytes:
        raw = name.encode("utf-16-le")
        return (raw.ljust(64, b"\0") + struct.pack("<HBBIII", len(raw) + 2 if name else 0, kind, 1, none, none, child)
                + bytes(16) + struct.pack("<IQQIQ", 0, 0, 0, start, size))  # fmt: skip

    folder = (
        entry("Root Entry", 5, 1, end, 0) + entry("Workbook", 2, none, 2, len(stream)) + entry("", 0, none, 0, 0) * 2
    )
    header = bytes.fromhex("D0CF11E0A1B11AE1") + bytes(16) + struct.pack("<HHHHH", 0x3E, 3, 0xFFFE, 9, 6) + bytes(6)
    header += struct.pack("<IIIIIIIII", 0, 1, 1, 0, 4096, end, 0, end, 0) + struct.pack("<109I", 0, *([free] * 108))
    return header + fat_sector + folder + stream.ljust(sectors * 512, b"\0")
