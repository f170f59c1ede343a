"""The route folder on disk: settings, layouts, products and source descriptions, each value with its line and
column.

No polars here: `recon check` has to start quickly.
"""
