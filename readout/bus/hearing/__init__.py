"""The ear of a line: pieces put together, echo, noise and other people's frames told from the reply."""
