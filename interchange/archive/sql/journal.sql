-- One row an attempt to import a source.
SELECT * FROM $source
