"""The command line: everything the project does, for people who script."""
