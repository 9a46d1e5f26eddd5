"""`python -m notify`: the same as the command `shelfbell`."""

from notify.cli.main import main

if __name__ == "__main__":
    main()
