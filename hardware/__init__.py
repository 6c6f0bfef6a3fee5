"""Data only: instrument profiles, machine examples, their JSON schemas, and the sensor node's firmware."""
