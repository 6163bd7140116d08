"""An invented clinic to try the tool on: nobody in it is real, and its passwords are for the demo only."""

from followup.services.demo.load import DemoSummary, SignIn, load_demo

__all__ = ["DemoSummary", "SignIn", "load_demo"]
