"""Run the command line: ``python -m stonelayout``."""

from .cli import main

if __name__ == "__main__":
    main()
