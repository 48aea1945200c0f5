"""The job file, the command line, the reports and the local page: thin, over the other packages."""
