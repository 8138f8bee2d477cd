"""`python -m fieldkit.cli`: the commands where the installed one is not on the path."""

from fieldkit.cli.program import main

if __name__ == "__main__":
    main()
