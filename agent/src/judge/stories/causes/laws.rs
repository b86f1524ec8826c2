//! Laws of incidents, whatever happens.
