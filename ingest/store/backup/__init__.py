"""Backups: one checked file of the running store, and the way back.

archive    a backup as a file
making     making one beside a running leeside
restoring  a backup becomes the store again
"""
