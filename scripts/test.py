"""Every check of the project in one command: lint, types and tests. Ends with one line a step, and with 1 if any failed.

    python3 scripts/test.py [--only lint|types|tests] [what pytest takes ...]

Python's standard library is enough. This file is kept so plain that every Python can read it, as far as the sentence that
it is too old; the work is done in checks.py.
"""

import sys

if sys.version_info >= (3, 11):
    from checks import main

    sys.exit(main(sys.argv[1:]))
else:
    sys.exit(
        "The checks need Python 3.11 or later; this is Python %s (%s). Install a later one and start again with it."
        % (sys.version.split()[0], sys.executable)
    )
