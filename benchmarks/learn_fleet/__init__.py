"""How well and at what cost a model is learnt from fleets whose truth is known."""
