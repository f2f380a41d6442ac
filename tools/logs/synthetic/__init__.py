"""Invented logs with known truth, to try the tools on and to measure how often they are right."""
