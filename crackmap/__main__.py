"""`python -m crackmap` is the same as the `crackmap` command."""

from crackmap.cli.main import main

if __name__ == "__main__":
    main()
