"""The command line: one module a command, each thin: parse, call, print."""
