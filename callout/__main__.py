"""``python -m callout`` does what the ``callout`` command does."""

from callout.cli.main import run

if __name__ == "__main__":
    run()
