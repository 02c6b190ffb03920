"""Is this machine fit to watch a pour? Looks at probes, pins, clock, disk, power, network, messages, versions."""
