"""The Python API: one module for each job. A notebook calls the same functions as the command line."""
