"""The command line: `snugline COMMAND`. Each command is a file in `commands/`.

Nothing heavy is imported here: `snugline --help` must answer at once.
"""

import os
import sys
from typing import Annotated

import typer

from snugline.desk.commands import (
    camera,
    check,
    compare,
    fitted,
    frame,
    new,
    prove,
    run,
    serve,
    trace,
)
from snugline.errors import SnuglineError

FINE, RETAKE, USER_ERROR, FAULT, INTERRUPTED = 0, 1, 2, 3, 130

EPILOG = """
\b
Exit status:
  0  done
  1  done, but a result cannot be relied on (a photo to retake, a reading to repeat):
     the remarks name it; with several jobs also when a job failed
  2  refused: a file, key, option or photo cannot be used; nothing was written
  3  a fault in Snugline itself (SNUGLINE_TRACEBACK=1 shows where)

\b
A first job:
  snugline frame border-a4 --out frame.pdf     print it at actual size
  snugline new job.toml                        answer its questions
  snugline run job.toml --out result           outline, drawings, report
"""

app = typer.Typer(
    name="snugline",
    help="True outlines of bought-in parts from phone photos, and the pockets they drop into.",
    epilog=EPILOG,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

app.command("frame")(frame.frame)
app.command("new")(new.new)
app.command("check")(check.check)
app.command("camera")(camera.camera)
app.command("prove")(prove.prove)
app.command("trace")(trace.trace)
app.command("run")(run.run)
app.command("serve")(serve.serve)
app.command("compare")(compare.compare)
app.command("fitted")(fitted.fitted)


def _print_version(wanted: bool) -> None:
    if wanted:
        from snugline import __version__

        typer.echo(f"snugline {__version__}")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def _root(
    context: typer.Context,
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_print_version, is_eager=True, help="Show the version and exit."
        ),
    ] = False,
) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


def main(arguments: list[str] | None = None) -> None:
    """Run one command and leave with its exit status; errors are one line on stderr."""
    sys.exit(_status(arguments))


def _status(arguments: list[str] | None) -> int:
    try:
        status = app(args=arguments, prog_name="snugline", standalone_mode=False)
        sys.stdout.flush()
    except SnuglineError as error:
        print(f"snugline: {error}", file=sys.stderr)
        return USER_ERROR
    except (KeyboardInterrupt, typer.Abort):
        print("snugline: stopped", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        # The reader of our output has gone; the interpreter must not try to flush again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FINE
    except Exception as error:
        if hasattr(error, "format_message"):  # a usage error of the command-line library
            print(_usage(error), file=sys.stderr)
            return USER_ERROR
        if os.environ.get("SNUGLINE_TRACEBACK"):
            raise
        fault = " ".join(f"{type(error).__name__}: {error}".split())
        print(
            f"snugline: a fault in Snugline itself ({fault}); "
            "please report it with the job and the photos",
            file=sys.stderr,
        )
        return FAULT
    return status if isinstance(status, int) else FINE


def _usage(error: Exception) -> str:
    """A usage error in one line: where, what, and what to do."""
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "snugline"
    message = " ".join(error.format_message().split())  # type: ignore[attr-defined]
    message = message.replace("Value error, ", "")
    return f"{command}: {message.rstrip('.')}; see `{command} --help`"


if __name__ == "__main__":
    main()
