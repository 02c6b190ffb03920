"""The laws of a cure: kinetics, gel, glass, diffusion, materials, heat transfer. One place, no mesh."""
