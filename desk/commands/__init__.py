"""One file per command: its options, its help, and the call into the other packages."""
