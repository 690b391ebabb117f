"""Words about sides, findings, levels and waivers that several formats share."""
