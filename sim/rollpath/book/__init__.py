"""The record of nights."""
