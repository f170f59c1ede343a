"""The version of recon, for whatever layer has to name it."""

VERSION = "0.1.0"
