"""The page's server: routes, requests, access."""
