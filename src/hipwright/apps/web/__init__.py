"""The workbench in the browser: pages from the server, small modules where they move."""
