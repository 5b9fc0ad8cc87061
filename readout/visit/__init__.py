"""A visit at the pipe: what is checked, what an answer must say, and where the visit stands. No line here."""
