"""``propmatch page``: play with a brief in the browser, on this machine alone."""

from contextlib import ExitStack
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from propmatch.commands.guide import program_of
from propmatch.commands.options import Command, catalogue_options, open_catalogue
from propmatch.commands.sources import asked_for, sources_of_laws, sources_text

if TYPE_CHECKING:
    from collections.abc import Callable

    from propmatch.catalogue.catalogue import Catalogue
    from propmatch.page import Desk

__all__ = ["command"]


@click.command("page", cls=Command)
@click.argument("brief", required=False)
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port on this machine.  [default: any free one]")
@click.option("--no-open", is_flag=True, help="Print the address without opening a browser.")
@click.option(
    "--static", metavar="FILE.html|FOLDER", type=click.Path(),
    help="Write a page with the engine inside instead: one file that opens from disk, or a folder for any web host.",
)  # fmt: skip
@click.option(
    "--runtime", metavar="FOLDER", envvar="PROPMATCH_RUNTIME", type=click.Path(),
    help="For --static: folder with the Python for browsers that you downloaded.  [default: PROPMATCH_RUNTIME]",
)  # fmt: skip
@click.option("--force", is_flag=True, help="For --static: replace what exists.")
@catalogue_options
def command(**options: Any) -> None:
    """A page on this machine: move mass, height, temperature or limits and see map, chart and checks follow.

    BRIEF is a file, or the name of a bundled brief. The page answers this machine alone, at an address with a secret
    in it; Ctrl-C ends it. With --static nothing is served: it writes a page that answers by itself, with the brief and
    the parts of --parts inside, to give away with plans.
    """
    from propmatch.commands.briefs import open_brief
    from propmatch.files import file_name
    from propmatch.records.brief import dump_brief
    from propmatch.sheet.picture import need

    for module in () if options["static"] else ("starlette", "uvicorn"):
        need(module, "page")
    if called := asked_for():
        click.echo("\n".join(sources_text(sources_of_laws(called))))
    brief, which = open_brief(options["brief"], options["only"])
    given = Path(options["brief"] or "")
    own = not which and not options["only"]
    text = given.read_text(encoding="utf-8-sig") if own else dump_brief(brief)
    file = given.name if own and given.suffix == ".toml" else f"{file_name(brief.aircraft.name, 'sheet')}.toml"
    if options["static"]:
        _write(Path(options["static"]), text, file, options, which)
        return
    serve(
        text, partial(open_catalogue, options["parts_folder"], options["strict"]), port=options["port"],
        opening=not options["no_open"], folder=given.absolute().parent if own else Path.cwd(), file=file, which=which,
        guide=partial(_guide, program_of(click.get_current_context())),
    )  # fmt: skip


@cache
def _guide(program: click.Group) -> tuple[str, str]:
    """The guide and the policy to serve it under."""
    from propmatch.guide.html import policy, single

    return single(program), policy()


def _write(target: Path, text: str, file: str, options: dict[str, Any], which: str) -> None:
    """The page with the engine inside, as a file or a folder, and what is in it."""
    from propmatch.faults import Fault, InputFaults
    from propmatch.page.packing import compiler
    from propmatch.page.runtime import PYTHON, Runtime
    from propmatch.page.standalone import Standalone, write_file_alone, write_folder

    runtime = Runtime.of(options["runtime"])
    one = target.suffix.lower() in (".html", ".htm")
    if not options["force"] and (target.exists() if one else target.is_dir() and any(target.iterdir())):
        raise InputFaults([Fault(str(target), rule="exists already", hint="--force replaces it")])
    made = Standalone.of(runtime, text, file=file, parts=options["parts_folder"])
    (write_file_alone if one else write_folder)(made, target, force=options["force"])
    for fault in made.faults:
        click.echo(str(fault), err=True)
    size = sum(each.stat().st_size for each in ([target] if one else target.iterdir()))
    for line in (
        which,
        f"{target}: {size / 1e6:.1f} MB, to {'open from disk' if one else 'put on any web host as it is'}.",
        f"Inside: {file}, {made.inside}, the engine and every licence. Whoever has it can read them all.",
        "" if compiler() else f"No Python {PYTHON} compiled the modules: the engine starts a second later.",
    ):
        if line:
            click.echo(line)


def serve(
    text: str, stock: "Callable[[], Catalogue]", *, port: int, opening: bool, folder: Path, file: str, which: str = "",
    guide: "Callable[[], tuple[str, str]] | None" = None,
) -> None:  # fmt: skip
    """Serve until interrupted; ``stock`` opens the catalogue, here and in each worker."""
    import socket

    import uvicorn

    from propmatch.page.desk import Desk
    from propmatch.page.server import create_app, new_token, saving_in
    from propmatch.page.workers import Worker

    class Server(uvicorn.Server):
        """The workers end first and whoever waits for one is told, so that an interrupt ends the server at once."""

        def handle_exit(self, *signalled: Any) -> None:
            for worker in workers.values():
                worker.close()
            super().handle_exit(*signalled)

    desk = Desk(stock(), text, file=file, folder=str(folder), save=saving_in(folder))
    token = new_token()
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listening, ExitStack() as ending:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", port))
        port = listening.getsockname()[1]
        workers = {where: Worker(partial(_desk, stock)) for where in ("map", "long")}
        door = ExitStack()
        ending.enter_context(door)
        for worker in workers.values():
            ending.callback(worker.close)
        app = create_app(desk, token=token, port=port, workers=workers, opened=door.close, guide=guide)
        server = Server(
            uvicorn.Config(
                app, log_level="warning", access_log=False, lifespan="off", server_header=False,
                timeout_graceful_shutdown=1,
            )
        )  # fmt: skip
        address = f"http://127.0.0.1:{port}/{token}/"
        listening.listen(64)
        for line in (which, f"The page is at {address}", "It answers this machine alone. Ctrl-C ends it."):
            if line:
                click.echo(line)
        if opening:
            _open(address, door)
        server.run(sockets=[listening])


def _desk(stock: "Callable[[], Catalogue]") -> "Desk":
    from propmatch.page.desk import Desk

    return Desk(stock())


def _open(address: str, door: ExitStack) -> None:
    """Show a page in the browser: what other processes see of it is the name of a file that this user alone can read.

    The file sends the browser on, and goes when ``door`` is closed.
    """
    import os
    import tempfile
    import webbrowser

    from propmatch.files import write_file

    folder = door.enter_context(tempfile.TemporaryDirectory(prefix="propmatch-"))
    page = (
        f'<!DOCTYPE html><meta charset="utf-8"><meta name="referrer" content="no-referrer">'
        f'<meta http-equiv="refresh" content="0;url={address}"><title>Power train</title>'
        f'<a href="{address}">The page</a>'
    )
    file = write_file(Path(folder) / "page.html", page)
    os.chmod(file, 0o600)
    webbrowser.open(file.as_uri())
