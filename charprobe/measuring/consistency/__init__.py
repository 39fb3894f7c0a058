"""Numbers of a finished profile that deny each other: a function per rule, and the pass over all."""
