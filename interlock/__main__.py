"""`python -m interlock`."""

from interlock.cli import main

if __name__ == "__main__":
    main()
