"""Words that the head over words never learnt, heard by their phones: a survey's species."""
