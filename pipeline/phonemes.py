"""ARPAbet without stress, as the CMU Pronouncing Dictionary has it, and AX and AXR. The order numbers the sounds."""

VOWELS = ("AA", "AE", "AH", "AO", "AW", "AX", "AXR", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW")
_CONSONANTS = ("B", "CH", "D", "DH", "F", "G", "HH", "JH", "K", "L", "M", "N", "NG", "P", "R", "S", "SH", "T", "TH")
PHONEMES = (*VOWELS, *_CONSONANTS, "V", "W", "Y", "Z", "ZH")
