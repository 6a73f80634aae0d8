#!/usr/bin/env python3
"""Set hipwright up in this folder and start it, or check everything.

    python3 bootstrap.py                    install what is missing, open the demonstration
    python3 bootstrap.py install [--dev]    install only
    python3 bootstrap.py check [STEP ...]   install the tools too, run all checks or those named
    python3 bootstrap.py pages              write the documents that are made from the program
    python3 bootstrap.py lock [--upgrade]   write the lock files after a change of dependencies

Needs Python 3.11 or newer and nothing else; everything goes into the folder .venv.
"""

import sys

if sys.version_info < (3, 11):  # noqa: UP036 (an older Python must be told so, in words)
    sys.exit(
        f"hipwright needs Python 3.11 or newer; this is Python {sys.version.split()[0]}. "
        "Install a newer one and start this with it, for example: python3.12 bootstrap.py"
    )

from bench.orders import carry_out

if __name__ == "__main__":
    sys.exit(carry_out(sys.argv[1:], help_text=str(__doc__)))
