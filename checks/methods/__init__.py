"""Every computation with formula, source, limits of use and a worked example."""
