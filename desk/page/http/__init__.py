"""The page's server: addresses, requests, who may ask."""
