"""`python -m recon` is the command `recon`."""

from recon.cli.main import main

if __name__ == "__main__":
    main()
