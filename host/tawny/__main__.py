"""`python -m tawny`."""

from tawny.cli.main import main

if __name__ == "__main__":
    main()
