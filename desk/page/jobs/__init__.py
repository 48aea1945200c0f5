"""The page's jobs: files, changes, and the work that runs on them."""
