"""The command `pipeledger`: one command, one file, one function that returns an exit status."""
