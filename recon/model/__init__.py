"""The words of the trade as types: money, times, layouts, descriptions, frames. Imports nothing of ours."""
