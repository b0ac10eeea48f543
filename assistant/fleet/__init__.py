"""The fleet store: runs taken in from folders of logs, verified, and the statistics over them."""
