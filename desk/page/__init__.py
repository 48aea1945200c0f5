"""The local page: a server over one folder of jobs, and the files that a browser shows."""
