"""Logs of CAN traffic: reading them, replaying them through a bridge, writing what came of it."""
