"""Tuning: candidates for the owner's settings, tried over several years and judged on others."""
