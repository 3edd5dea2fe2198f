"""The article before a word that a sentence is given: "a motor load", "an incandescent load".

What belongs here: that. What does not: any sentence.
"""

_AS_A_VOWEL = ("a", "e", "i", "o", "led")  # LED is spelled out when it is spoken


def with_article(noun: str) -> str:
    """Return a noun with "a" or "an" before it, by its sound."""
    return f"{'an' if noun.lower().startswith(_AS_A_VOWEL) else 'a'} {noun}"
