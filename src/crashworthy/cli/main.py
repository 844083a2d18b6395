"""Entry point of the command: every error a person can mend is one clear message and exit status 2."""

from __future__ import annotations

import sys

from crashworthy.errors import CrashworthyError

__all__ = ["main"]


def main() -> None:
    """Run the command line and leave with its exit status."""
    from crashworthy.cli.app import app

    try:
        app()
    except CrashworthyError as error:
        for problem in error.problems:
            print(f"crashworthy: {problem}", file=sys.stderr)  # noqa: T201 - this is where a person reads it
        sys.exit(2)
    except KeyboardInterrupt:
        print("crashworthy: stopped; what was acknowledged is kept", file=sys.stderr)  # noqa: T201 - as above
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()  # the reader went away (`| head`); nothing to say and nobody to say it to
        sys.exit(0)


if __name__ == "__main__":
    main()
