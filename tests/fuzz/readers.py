"""Every way in, and its share of the inputs."""

from . import documents, doors, physics, tables, typedlines
from .harness import Reader

__all__ = ["READERS"]

READERS = [
    Reader("table", tables.parts_table, 3),
    Reader("damaged", tables.parts_damaged, 1.5),
    Reader("pasted", tables.pasted, 0.3),
    Reader("workbook", tables.parts_workbook, 0.4),
    Reader("propeller", tables.coefficients, 3),
    Reader("log", tables.bench_log, 4),
    Reader("flight", tables.flight_log, 0.8),
    Reader("typed", typedlines.typed, 35),
    Reader("options", typedlines.options, 40),
    Reader("brief", documents.briefs, 1),
    Reader("document", documents.parts_documents, 6),
    Reader("mapping", documents.mappings, 4.7),
    Reader("desk", doors.desk, 0.2),
    Reader("command", doors.command_lines, 0.1),
    Reader("physics", physics.points, 0.1),
]
