"""`python -m tester` is the same command as `loomwright`."""

from tester.cli.main import run

if __name__ == "__main__":
    run()
