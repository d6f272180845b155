"""The archive: originals, one Delta table of Parquet files, and what is derived from them."""
