"""The equipment: sites, machines, stations, slots, and what they should and do hold."""
