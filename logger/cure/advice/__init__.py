"""What the solver advises: depths, rooms, layers and their times, what cooling buys."""
