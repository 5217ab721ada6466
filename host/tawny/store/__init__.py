"""The record on disk: journal, traces, read models."""
