"""Where the command `pipeledger` begins: Ctrl-C ends it quietly, while its parts are being loaded, too."""

import sys

#: Exit status of a command that was interrupted, as shells have it: 128 + SIGINT.
INTERRUPTED = 130


def main() -> None:
    """Run the command line of this process and end it with the contracted status."""
    try:
        from readout.cli.main import main as run

        run()
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
