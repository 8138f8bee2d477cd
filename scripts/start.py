"""Try fieldkit: makes what it needs, builds the invented programme in a folder of its own and serves it.

    python3 scripts/start.py [--no-serve] [--folder DIR] [--port N]

A second start is quick and loses nothing. Python's standard library is enough. This file is kept so plain that every
Python can read it, as far as the sentence that it is too old; the work is done in demo.py.
"""

import sys

if sys.version_info >= (3, 11):
    from demo import main

    sys.exit(main(sys.argv[1:]))
else:
    sys.exit(
        "fieldkit needs Python 3.11 or later; this is Python %s (%s). Install a later one and start again with it.\n"
        "fieldkit necesita Python 3.11 o posterior; este es Python %s (%s). Instale uno posterior y empiece de nuevo con ese."
        % ((sys.version.split()[0], sys.executable) * 2)
    )
