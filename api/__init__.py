"""The front door for Python: four verbs over the rooms, re-exported lazily by `import snugline`."""
