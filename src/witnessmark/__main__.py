"""The command ``witnessmark`` and ``python -m witnessmark``."""

from __future__ import annotations


def main() -> None:
    """Run the command line."""
    from witnessmark.cli.main import run

    run()


if __name__ == "__main__":
    main()
