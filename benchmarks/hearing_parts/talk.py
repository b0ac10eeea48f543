"""Everyday sentences that are no answer: among them trade talk that comes near the phrases."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Talk:
    """Everyday sentences, and what may be said around a phrase."""

    sentences: tuple[str, ...]
    around: tuple[str, ...]


FIT_TALK = (
    "we should stop at the store on the way home",
    "did you see the game last night",
    "the coffee machine is broken again",
    "tell him to go ahead without me",
    "i think it is going to rain this afternoon",
    "my brother has the same truck in blue",
    "okay that sounds good to me",
    "yes",
    "no not yet",
    "he said the brakes were fine last week",
    "is that trailer going to the harbor",
    "they never close the gate in the morning",
    "what time do we get to the diner",
    "i left the keys on the kitchen table",
    "the kids are playing in the garden",
    "can you hold this for a second",
    "that song was on the radio yesterday",
    "you would not believe what she said",
    "the jaw of that fish was full of teeth",
    "we need more diesel before the border",
    "all right then",
    "somebody parked in my place again",
    "turn the music down a little please",
    "there is a gap in the fence over there",
    "he closed the door and walked away",
    "the plate was too hot to touch",
    "stop it you two",
    "say that again i did not hear you",
    "stand by me is an old song",
    "the ground was wet all week",
)

REPORT_TALK = (
    "how long have you been driving for them",
    "the weather has been terrible all month",
    "i never liked that color on a truck",
    "go and ask the man in the office",
    "we stopped for lunch at two o'clock",
    "my back hurts from all that lifting",
    "sure no problem",
    "yeah yeah",
    "hello can anybody hear me",
    "the new foreman starts on monday",
    "put the kettle on will you",
    "there was a locked door at the end of the hall",
    "she pulled the handle and it came off",
    "his trailer is empty most of the time",
    "the lines at the border were very long",
    "they raised the price of tires again",
    "that crank is older than my father",
    "everyone is here except for john",
    "what can i do for you today",
    "where are we going to eat tonight",
    "i set the parking brake and went to sleep",
    "look at the moon over the mountains",
    "correct me if i am wrong",
    "we are running out of time",
    "nobody told me about the meeting",
    "is the engine supposed to sound like that",
    "the air in here is terrible",
    "give me a hand with this box",
    "her legs were tired from the walk",
    "maybe we should start over tomorrow",
)

FIT_MORE = (
    "{} and then we had lunch", "{} is what he told me", "do not say {}", "he said {}", "{} yesterday",
    "not {}", "{} on the other trailer", "{} my foot", "is that {}", "{} never",
    "{} i believe", "{} as far as we know", "{} the last time", "tell him {}", "somebody said {}",
    "{} so i was told", "maybe {}", "{} in the other yard", "i hope {}", "{} or something",
)
REPORT_MORE = (
    "{} and after that we drove home", "{} was the last thing", "i would not call that {}", "they always say {}",
    "{} last week", "no not {}", "{} for the other driver", "{} he thinks", "did you say {}", "{} or maybe not",
)
"""A phrase with more around it: no answer. ``{}`` is a phrase that counts."""
