"""The wiring as a network: elements between nodes, faults on them, meters across them."""
