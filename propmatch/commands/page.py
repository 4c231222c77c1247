"""``propmatch page``: play with a brief in the browser, on this machine alone."""

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from propmatch.commands.options import Command, catalogue_options, open_catalogue

if TYPE_CHECKING:
    from propmatch.catalogue.catalogue import Catalogue

__all__ = ["command"]


@click.command("page", cls=Command)
@click.argument("brief", required=False)
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port on this machine.  [default: any free one]")
@click.option("--no-open", is_flag=True, help="Print the address without opening a browser.")
@catalogue_options
def command(**options: Any) -> None:
    """A page on this machine: move mass, height, temperature or limits and see map, chart and checks follow.

    BRIEF is a file, or the name of a bundled brief. The page answers this machine alone, at an address with a secret
    in it; Ctrl-C ends it.
    """
    from propmatch.commands.briefs import open_brief
    from propmatch.files import file_name
    from propmatch.records.brief import dump_brief
    from propmatch.sheet.picture import need

    for module in ("starlette", "uvicorn"):
        need(module, "page")
    brief, which = open_brief(options["brief"], options["only"])
    given = Path(options["brief"] or "")
    own = not which and not options["only"]
    text = given.read_text(encoding="utf-8-sig") if own else dump_brief(brief)
    file = given.name if own and given.suffix == ".toml" else f"{file_name(brief.aircraft.name, 'sheet')}.toml"
    serve(
        text, open_catalogue(options["parts_folder"], options["strict"]), port=options["port"],
        opening=not options["no_open"], folder=given.absolute().parent if own else Path.cwd(), file=file, which=which,
    )  # fmt: skip


def serve(
    text: str, catalogue: "Catalogue", *, port: int, opening: bool, folder: Path, file: str, which: str = ""
) -> None:
    """Serve until interrupted."""
    import socket
    import webbrowser
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    import uvicorn

    from propmatch.page.maps import EVERY
    from propmatch.page.server import create_app, in_background, new_token

    token, processes = new_token(), get_context("spawn")
    signal = processes.Value("q", 0, lock=False)
    with (
        socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listening,
        ProcessPoolExecutor(1, mp_context=processes, initializer=in_background, initargs=(signal,)) as workers,
    ):
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", port))
        port = listening.getsockname()[1]
        app = create_app(
            text, catalogue, token=token, port=port, folder=folder, file=file, workers=workers, signal=signal
        )
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False, lifespan="off"))
        address = f"http://127.0.0.1:{port}/{token}/"
        listening.listen(64)
        for line in (which, f"The page is at {address}", "It answers this machine alone. Ctrl-C ends it."):
            if line:
                click.echo(line)
        if opening:
            webbrowser.open(address)
        with suppress(KeyboardInterrupt):
            server.run(sockets=[listening])
        signal.value = EVERY
