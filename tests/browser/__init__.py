"""The notebooks in a real JupyterLab and a real browser."""
