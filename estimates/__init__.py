"""Before the signature: leads, assessments, takeoff, price, proposal."""
