"""The ``leeside`` command: each command reads its options, asks the core, prints, and sets the exit code.

Reading order: ``main`` (all commands), then a file per command. ``supervisor`` is what `leeside run` becomes.
Nothing is imported here: the supervisor must stay small.
"""
