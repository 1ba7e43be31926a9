"""Results to judgement: cited criteria, diagnosis, fitness for use."""
