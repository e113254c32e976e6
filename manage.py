#!/usr/bin/env python3
"""Django's entry point, and ours: it first sees to its own environment.

This file must be readable by any Python 3, so that an old one gets a sentence
instead of a syntax error.
"""

import os
import sys

OLDEST = (3, 11)


def main():  # type: () -> None
    """Run a command inside the project's own environment."""
    if sys.version_info < OLDEST:
        sys.exit(
            "Kettlebook needs Python 3.11 or newer, and this is Python %d.%d."
            " Install a newer one, then type: python3.11 %s"
            % (sys.version_info[0], sys.version_info[1], " ".join(sys.argv))
        )
    from producer import bootstrap

    bootstrap.enter(sys.argv)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "producer.settings")
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except KeyboardInterrupt:
        sys.exit("\nStopped. The same command carries on from here.")


if __name__ == "__main__":
    main()
