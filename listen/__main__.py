"""`python -m listen`: the same as the command `listen`."""

from listen.cli import main

if __name__ == "__main__":
    main()
