"""Tests of what leaves the program on paper."""
