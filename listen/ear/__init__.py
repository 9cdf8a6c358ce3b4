"""From features to sound events: physics first, a small trained model beside it."""
