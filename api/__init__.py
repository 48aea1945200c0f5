"""The Python interface: four functions over the packages, re-exported by `import snugline`."""
