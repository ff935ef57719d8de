//! Wing: the station model, the budget and the predicted measurands.
