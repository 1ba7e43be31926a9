"""Numbers on record for other programs: Parquet, a data package of CSV, a Prometheus text file.

Rows come as mappings, from wherever they are kept; `columns` says what is in them.
"""
