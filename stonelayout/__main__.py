"""Run the command line: ``python -m stonelayout``."""

from stonelayout.cli import main

if __name__ == "__main__":
    main()
