"""What ``propmatch parts`` can do, a function for each."""

import shlex
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from propmatch.commands.output import Reply, show
from propmatch.commands.partswords import (
    list_block,
    part_blocks,
    part_row,
    sure_block,
    sure_row,
    table_block,
    table_rows,
)
from propmatch.faults import Fault, InputFaults
from propmatch.records.parts import KINDS
from propmatch.words.shown import table, wrapped

if TYPE_CHECKING:
    from propmatch.catalogue.catalogue import Catalogue

__all__ = [
    "show_all_faults",
    "show_first_rows",
    "show_lines",
    "show_list",
    "show_overview",
    "show_part",
    "show_prediction",
    "write_empty",
]


def _counted(number: int, word: str) -> str:
    return f"{number} {word}" if number != 1 else f"{number} {word.removesuffix('s')}"


def _troubles(catalogue: "Catalogue") -> list[Fault]:
    """Broken plugins, and what was set aside of the kinds read so far."""
    return [each.fault for each in catalogue.broken]


def show_overview(catalogue: "Catalogue", form: str) -> None:
    """How many parts of each kind there are, by plugin."""
    rows: list[dict[str, Any]] = []
    for kind in KINDS:
        by_plugin: dict[str, int] = {}
        for name in catalogue.listed(kind):
            plugin = name.partition("/")[0]
            by_plugin[plugin] = by_plugin.get(plugin, 0) + 1
        rows.append({"kind": kind, "count": len(catalogue.listed(kind)), "set_aside": catalogue.set_aside(kind),
                     "plugins": by_plugin})  # fmt: skip
    faults = [*(fault for fault in catalogue.faults if fault.kind == "fault"), *_troubles(catalogue)]
    warnings = [*(fault for fault in catalogue.faults if fault.kind == "warning"), *catalogue.warnings]
    notes = [fault for fault in catalogue.faults if fault.kind == "note"]
    lines = [
        {"kind": f"  {row['kind']}", "parts": row["count"], "set aside": row["set_aside"],
         "from plugins": ", ".join(f"{name} {count}" for name, count in row["plugins"].items()) or "-"}
        for row in rows
    ]  # fmt: skip
    total = sum(int(row["count"]) for row in rows)
    sentence = (
        f"{_counted(total, 'parts')}, {_counted(len(faults), 'faults')} and {_counted(len(warnings), 'warnings')}."
    )
    if notes:
        sentence = f"{sentence.removesuffix('.')}, {_counted(len(notes), 'notes')} on how tables were read."
    if faults or warnings or notes:
        sentence += " 'propmatch parts --faults' lists what is wrong or hard to believe."
    show(
        Reply(
            command="parts",
            headline=[sentence],
            blocks=[table(lines, left=("kind", "from plugins"))],
            rows=rows,
            faults=_troubles(catalogue) if form == "text" else [*_troubles(catalogue), *catalogue.faults],
        ),
        form=form,
    )


def show_list(
    catalogue: "Catalogue", kind: str, patterns: Sequence[str], where: Sequence[str], top: int, form: str
) -> None:
    """The parts of a kind that match."""
    from propmatch.commands.partsfilter import condition

    faults: list[Fault] = []
    test = condition(KINDS[kind], where, faults)
    if faults:
        raise InputFaults(faults)
    found = catalogue.select(kind, *patterns, where=test)
    total, aside = len(catalogue.listed(kind)), catalogue.set_aside(kind)
    shown = found if top == 0 or form != "text" else dict(list(found.items())[:top])
    sentence = f"{len(found)} of {_counted(total, kind)}"
    if not (patterns or where):
        sentence = _counted(total, kind)
    if len(shown) < len(found):
        sentence += f", the first {len(shown)} here (--top 0 lists all)"
    if aside:
        sentence += f"; {aside} set aside, see 'propmatch parts --faults'"
    show(
        Reply(
            command="parts",
            headline=[sentence + "."],
            blocks=[list_block(kind, shown)],
            rows=[part_row(part) for part in shown.values()],
            faults=_troubles(catalogue),
        ),
        form=form,
    )


def show_part(catalogue: "Catalogue", kind: str | None, text: str, form: str) -> None:
    """Every number of a part with its origin."""
    from propmatch.records.estimates import completed
    from propmatch.records.plausibility import warnings_of

    found = []
    missing: list[Fault] = []
    for each in (kind,) if kind else KINDS:
        try:
            found.append((each, catalogue.find(each, text)))
        except InputFaults as error:
            missing += error.faults
    if not found:
        raise InputFaults(_nearest(missing, text))
    blocks: list[list[str]] = []
    for each, part in found:
        blocks += part_blocks(each, part, warnings_of(part))
    tables = [part.table for _, part in found if getattr(part, "table", None) is not None]
    as_table = form == "csv" and len(found) == 1 and bool(tables)
    rows: list[dict[str, Any]] = [part_row(part) for _, part in found]
    if not as_table:
        for row, (each, part) in zip(rows, found, strict=True) if form == "json" else ():
            row["sureness"] = sure_row(each, part)
            if getattr(part, "table", None) is not None:
                row["table"] = part.table
    show(
        Reply(
            command="parts",
            blocks=blocks,
            rows=table_rows(tables[0]) if as_table else rows,
            assumptions=[made for _, part in found for made in completed(part)[1]],
            faults=_troubles(catalogue),
        ),
        form=form,
    )


def _nearest(missing: Sequence[Fault], text: str) -> list[Fault]:
    """Where no kind has the part: the faults that bring a guess, else one for all."""
    guesses = [fault for fault in missing if not fault.hint.startswith("'propmatch")]
    return guesses or [
        Fault("--show", value=text, rule="no part with this id or name", hint="'propmatch parts KIND' lists them")
    ]


def show_all_faults(catalogue: "Catalogue", form: str) -> None:
    """Everything wrong with parts and plugins, and what is hard to believe."""
    wrong = [*(each.fault for each in catalogue.broken), *catalogue.faults]
    wrong += [each.fault for each in catalogue.broken if each.fault not in wrong]
    doubts = catalogue.warnings
    aside = sum(catalogue.set_aside(kind) for kind in KINDS)
    real = [fault for fault in wrong if fault.kind == "fault"]
    notes = [fault for fault in wrong if fault.kind == "note"]
    soft = [*(fault for fault in wrong if fault.kind == "warning"), *doubts]
    sentence = (
        f"{_counted(len(real), 'faults')}, {_counted(aside, 'rows')} set aside; "
        f"{_counted(len(soft), 'warnings')} of what is allowed but hard to believe."
    )
    sentence += f" {_counted(len(notes), 'notes')} on how tables were read." if notes else ""
    soft += notes
    show(
        Reply(
            command="parts",
            headline=[sentence],
            faults=[*real, *soft],
            all_faults=True,
            rows=[_fault_row(fault) for fault in (*real, *soft)],
        ),
        form=form,
    )


def _fault_row(fault: Fault) -> dict[str, Any]:
    return {"kind": fault.kind, "where": fault.where, "key": fault.key, "value": fault.value, "rule": fault.rule,
            "hint": fault.hint}  # fmt: skip


def show_prediction(catalogue: "Catalogue", size: str, own: Mapping[str, str | None], form: str) -> None:
    """Coefficients of a propeller that has no table, from the first plugin that answers."""
    import attrs

    from propmatch.commands.trains import table_answer
    from propmatch.records.estimates import completed
    from propmatch.records.parts import Propeller
    from propmatch.records.plausibility import warnings_of
    from propmatch.records.typed import read_part

    words = [size, *(f"{key}={shlex.quote(value)}" for key, value in own.items() if value)]
    typed = read_part(Propeller, " ".join(words), "--predict")
    if typed.faults:
        raise InputFaults(typed.faults)
    answer = table_answer(catalogue, typed.part, "--predict")
    propeller, source = attrs.evolve(typed.part, table=answer.table, source=answer.source), answer.source
    what = f"{propeller.diameter_in:.3g} x {propeller.pitch_in:.3g} in, {propeller.blades} blades"
    sentence = f"{what}{f', {propeller.family}' if propeller.family else ', family not stated'}: {source.text}."
    show(
        Reply(
            command="parts",
            headline=[sentence],
            blocks=[
                [line for note in answer.notes for line in wrapped(note, rest="  ")],
                table_block(propeller.table),
                sure_block("propellers", propeller),
            ],
            rows=table_rows(propeller.table),
            assumptions=completed(propeller)[1],
            faults=[*warnings_of(typed.part), *_troubles(catalogue)],
            extra={
                "propeller": part_row(propeller) | {"sureness": sure_row("propellers", propeller)},
                "notes": answer.notes,
                "prediction": source.prediction,
            },
        ),
        form=form,
    )


def show_lines(form: str) -> None:
    """Lines of the open data by what they read, for a propeller that reads like one of them."""
    from propmatch_plugins.prediction.lines import known_lines

    lines = known_lines()
    sentence = (
        f"{len(lines)} lines of measured propellers, by description only: static thrust, static power and zero-thrust "
        "speed beside what their family usually has. Where yours reads like one of them, say so: 'propmatch parts "
        '--predict "7x4 thin" --reads-like thin-1\', or typed "7x4 thin reads_like=thin-1".'
    )
    rows = [
        {"line": name, "family": line.family, "propellers": line.propellers, "diameter_in": line.diameter_in,
         "pitch_ratio": line.pitch_ratio, "static_thrust_ratio": line.ct0, "static_power_ratio": line.cp0,
         "zero_thrust_j_ratio": line.j0, "description": line.description}
        for name, line in lines.items()
    ]  # fmt: skip
    said = [text for name, line in lines.items() for text in wrapped(f"{name}: {line.description}", rest="  ")]
    show(Reply(command="parts", headline=wrapped(sentence), blocks=[said], rows=rows), form=form)


def write_empty(path: Path, form: str, *, force: bool) -> None:
    """Write empty files with column notes, units and an example row."""
    from propmatch_plugins.reading.template import write_template

    files = write_template(path, force=force)
    names = ", ".join(str(file) for file in files)
    sentence = f"Wrote {names}: columns with notes and units, and one invented example row of each kind to replace."
    reply = Reply(command="parts", headline=[sentence], rows=[{"file": str(file)} for file in files])
    show(reply, form=form)


def refuse_file(name: str, box: str, folder: Path | None) -> None:
    """Say where a file belongs that was given in the place of a kind.

    Raises
    ------
    InputFaults
        Always.
    """
    from propmatch.catalogue.boxes import box_folder

    rule = "is a file, and no kind of part"
    hint = f"see it read with --dry-run {name}, and copy it into {box_folder(box, folder, where='--box')}"
    raise InputFaults([Fault("KIND", value=name, rule=rule, hint=hint)])


def show_first_rows(table_path: Path, mapping: Path | None, form: str) -> None:
    """The first rows of a table as they would be read; nothing is kept."""
    from propmatch_plugins.reading.preview import dry_run

    previews = dry_run(table_path, mapping=mapping)
    blocks: list[list[str]] = []
    for preview in previews:
        columns = [line for column in preview.columns for line in wrapped(str(column), first="  ")]
        columns += [f"  {name} = {value} in every row" for name, value in preview.constants.items()]
        blocks.append([*wrapped(f"{preview.where}, their column -> ours:"), *columns])
        for number, row in enumerate(preview.rows, start=1):
            text = ", ".join(f"{name} = {value}" for name, value in row.items())
            blocks.append(wrapped(text, first=f"  row {number}: ", rest="    "))
    faults = [fault for preview in previews for fault in preview.faults]
    wrong = [fault for fault in faults if fault.kind == "fault"]
    good = sum(len(preview.rows) for preview in previews)
    sentence = f"Dry run: {_counted(good, 'rows')} of the beginning read well, {_counted(len(wrong), 'faults')}."
    rows = [dict(row) for preview in previews for row in preview.rows]
    show(Reply(command="parts", headline=[sentence], blocks=blocks, rows=rows, faults=faults), form=form)
