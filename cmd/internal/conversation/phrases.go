package conversation

import (
	"strings"
	"sync"

	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// This file is the vocabulary of entries: the everyday words a person uses beside
// those of the rulebase. All of it is common usage, no source.

// fillers are words that say nothing by themselves. Short words that can be a
// value (on, off, out, up, down, no, not) are not among them, see soft.
var fillers = wordSet(`a an the it its is are was were be been being am i we you he she they there here this that these those
	of to for with by as so then than very quite just still now again has have had do does did and but at in from which
	my our your his her their morning today it's that's what when where since seems seem shows show reads read measures measured me us some any or`)

// soft words are values when a thing has such a value, else they say nothing.
var soft = wordSet("on in at up out")

// everywhere are words that stand in so many questions that by themselves they name
// none, and are no part of a value.
var everywhere = wordSet("drop drops unit else other others either line one all say says said")

// colours are of lights, and short for nothing: "red" is not "redundant".
var colours = wordSet("red green yellow amber orange blue white")

// linking are words that say where or when to something else: by themselves they name nothing, and what a name has of
// them is not said by the others.
var linking = wordSet("before after behind beyond between across beside again same get gets getting got two last if only too went")

// negations turn a value round; they are never passed over.
var negations = wordSet("not no never without none nothing nor")

// Places in classes.
const (
	classLit = iota
	classDark
	classBlinking
	classWorking
	classDown
	classYes
	classNo
	classOpen
	classShorted
	classStopped
	classRunning
)

// classes are words that mean the same when they are said of a light, a machine or
// a question. A word of the rulebase always goes before its class.
var classes = [][]string{
	classLit:      strings.Fields("lit on alight burning glowing steady bright shining"),
	classDark:     strings.Fields("dark off out unlit black"),
	classBlinking: strings.Fields("blinking flashing flickering pulsing winking flicker blink flash"),
	classWorking:  strings.Fields("working works work good ok okay fine well healthy up normal alive running"),
	classDown:     strings.Fields("dead down failed broken gone lost"),
	classYes:      strings.Fields("yes y yeah yep true present"),
	classNo:       strings.Fields("no n nope false absent none nothing"),
	classOpen:     strings.Fields("open cut broken interrupted"),
	classShorted:  strings.Fields("short shorted shorting"),
	classStopped:  strings.Fields("stop stopped halted"),
	classRunning:  strings.Fields("run running"),
}

// lamps are words for a light.
var lamps = wordSet("light lights lamp lamps led leds")

// opposites pairs places in classes.
var opposites = map[int]int{classLit: classDark, classDark: classLit, classWorking: classDown, classDown: classWorking, classYes: classNo, classNo: classYes}

// irregular gives the stem of words that change more than their ending.
var irregular = sync.OnceValue(func() map[string]string {
	return map[string]string{
		"began": "begin", "begun": "begin", "came": "come", "went": "go", "gone": "go", "goes": "go", "blew": "blow", "blown": "blow",
		"broke": "break", "broken": "break", "lost": "lose", "swept": "sweep", "isn't": "not", "doesn't": "not", "don't": "not",
		"wasn't": "not", "didn't": "not", "won't": "not", "can't": "not", "aren't": "not", "hasn't": "not", "isnt": "not", "doesnt": "not",
		"lamp": "light", "lamps": "light", "lite": "light", "lites": "light", "led": "light", "leds": "light", "dont": "not", "wont": "not", "cant": "not", "cannot": "not",
	}
})

// wordSet says of a word whether it is one of a text's, which is divided when it is first
// asked: a program that only says its version asks nothing.
func wordSet(text string) func(word string) bool {
	words := sync.OnceValue(func() map[string]bool { return setOf(text) })
	return func(word string) bool { return words()[word] }
}

func setOf(text string) map[string]bool {
	set := map[string]bool{}
	for _, w := range strings.Fields(text) {
		set[w] = true
	}
	return set
}

// Phrases that may stand in an entry beside findings.
var (
	hedgeRE    = quantity.NewPattern(`(?i)\b(?:i (?:think|believe|guess|suppose|reckon)|(?:i am|i'm) not (?:so |quite )?(?:sure|certain)|not (?:so |quite )?(?:sure|certain)(?: (?:about|of) (?:that|it))?|maybe|perhaps|probably|possibly|presumably|as far as i (?:can see|know))\b`)
	doubtRE    = quantity.NewPattern(`(?i)not|maybe|perhaps|guess|possibly`)
	certainRE  = quantity.NewPattern(`(?i)\b(?:(?:i am|i'm) (?:quite |very )?(?:sure|certain)|for sure|definitely|certainly)\b`)
	byRE       = quantity.NewPattern(`(?i)\b(?:the )?(he|she|they|caller|operator|electrician|technician|engineer|colleague|customer|driver|fitter|foreman) (?:says|say|said|reports|report|reported|tells me|tell me|told me|sees|saw)(?: that)?\b[:,]?|\b(?:says|according to) (?:the )?(he|she|they|caller|operator|electrician|technician|engineer|colleague|customer|driver|fitter|foreman)\b`)
	thinksRE   = quantity.NewPattern(`(?i)[\s,]*\b(?:(?:the )?(he|she|they|caller|operator|electrician|technician|engineer|colleague|customer|driver|fitter|foreman) (?:thinks?|believes?|reckons?|guess(?:es)?)(?: that)?)\b[:,]?`)
	selfRE     = quantity.NewPattern(`(?i)\bi (?:see|saw|read|measure|measured) (?:it )?(?:myself|that)?\b`)
	sureRE     = quantity.NewPattern(`@\s*(0?\.\d*[1-9]\d*|1(?:\.0*)?)\s*$`)
	notSureRE  = quantity.NewPattern(`@\s*-?[0-9]*[.,]?[0-9]+\s*%?\s*$`) // a number that is no sureness
	readTailRE = quantity.NewPattern(`\sread "([^"]*)"\s*$`)
	byTailRE   = quantity.NewPattern(`(?i)\sby ([a-z][a-z_]*)\s*$`)
)

// Sureness of a finding by how it is said. Estimates, no source: half-way between
// a fair guess and what the rulebase takes for a plain statement.
const (
	sureThink = 0.8 // I think, probably
	sureDoubt = 0.6 // not sure, maybe
	sureQuite = 1.0 // I am sure
)

// Phrases for where and with whom.
var (
	placePhrases = []struct {
		re    *quantity.Pattern
		place rulebase.Place
	}{
		{quantity.NewPattern(`(?i)\b(?:i am |i'm |we are )?(?:on the (?:phone|telephone)|by (?:phone|telephone)|over the phone|phone support|phone|telephone)\b`), rulebase.Phone},
		{quantity.NewPattern(`(?i)\b(?:i am |i'm |we are )?(?:at the (?:drop|panel|machine|cabinet|plant)|in the field|on site|on-site|in front of it|field)\b`), rulebase.Field},
		{quantity.NewPattern(`(?i)\b(?:i am |i'm |we are |it is )?(?:(?:at|on) (?:the|a|my) (?:test )?bench|(?:in|from) the (?:shop|workshop)|(?:the )?(?:shop|workshop)|bench)\b`), rulebase.Bench},
	}
	whoPhrases = []struct {
		re  *quantity.Pattern
		who rulebase.Who
	}{
		{quantity.NewPattern(`(?i)\b(?:an? |the )?operators?\b`), rulebase.Operator},
		{quantity.NewPattern(`(?i)\b(?:an? |the )?electricians?\b`), rulebase.Electrician},
		{quantity.NewPattern(`(?i)\b(?:an? |the )?(?:technicians?|techs?)\b`), rulebase.Technician},
		{quantity.NewPattern(`(?i)\b(?:an? |the )?engineers?\b`), rulebase.Engineer},
	}
	takenOverRE = quantity.NewPattern(`(?i)^(?:(?:somebody|someone|another person|a colleague|my relief) (?:else )?(?:takes|is taking|has taken|took) over|(?:i|we) (?:take|have taken|took|am taking|are taking) over|change of (?:person|shift))(?: (?:here|now|from here))*$`)
	notAloneRE  = quantity.NewPattern(`(?i)\b(?:not alone|with (?:a |my )?(?:colleague|mate|helper|somebody|someone)|somebody is with me|someone is with me|(?:a )?(?:colleague|mate|helper) is (?:here|with me)|two of us|we are two)\b`)
	aloneRE     = quantity.NewPattern(`(?i)\b(?:all alone|alone|on my own|by myself|nobody (?:else )?(?:is )?(?:here|with me)|no one (?:is )?with me)\b`)
	bareRE      = quantity.NewPattern(`(?i)\b(?:no (?:tools?|instruments?)(?: at all)?|without (?:any )?(?:tools?|instruments?)|bare hands?|nothing with me)\b`)
	anyToolRE   = quantity.NewPattern(`(?i)\b(?:any tools?|all (?:the )?tools?|everything (?:is )?at hand)\b`)
)

// presence are words that may stand beside who is there and with what.
var presence = wordSet("here there present me myself too also arrived came come has got have with only support support. im i'm i've talking speaking new now no without")

// having are words that make what stands beside them a tool and no part of the line.
var having = wordSet("have has with got i've without came come arrived")

// everydayTools are names that a tool goes by beside its id: who says "meter" and no more means the one that
// everybody carries.
var everydayTools = map[string]string{"meter": "multimeter", "multimeters": "multimeter", "dmm": "multimeter", "voltmeter": "multimeter", "ohmmeter": "multimeter"}

// havingRE begins a piece about tools.
var havingRE = quantity.NewPattern(`(?i)^(?:(?:i|we|he|she|they) (?:have|has|got|have got)|i've got|i've|with|got)\b`)

// unitRE keeps "drop 24 V" from being taken for drop number 24.
var unitRE = quantity.NewPattern(`(?i)^(?:[mkuµ]?(?:v|a|w|hz|ohms?|Ω|m|s|%|volts?|amps?|vdc|vac|ohm)|min|minutes?|baud|kbaud|bit/s)\b`)

// noughtRE is a word that is nought, as an instrument shows it.
var noughtRE = quantity.NewPattern(`^[+-]?0+(?:[.,]0*)?(?:[mkuµ]?[a-zΩ]+)?$`)

// decimalsRE keeps "volts at drop 23.8" from being taken for the volts at drop number 23.
var decimalsRE = quantity.NewPattern(`^[.,]\d`)

// Phrases for drops.
var (
	onlyThisRE  = quantity.NewPattern(`(?i)^(?:(?:it is |it's )?(?:only|just) (?:the |this |that )?(?:one|drop|it)(?: drop| one)?(?: is (?:down|dead|out))?|(?:one|this) drop(?: only| alone)?|this one(?: only| alone)?|the others? (?:are|is) (?:ok|okay|fine|good|all right))$`)
	allOfThemRE = quantity.NewPattern(`(?i)^(?:all(?: of (?:them|it))?|all (?:the )?drops|every(?:thing| drop| one|one)|the (?:whole|entire) line)(?: (?:is |are )?(?:down|dead|out|dark))?$`)
	allDarkRE   = quantity.NewPattern(`(?i)^(?:it is |it's )?(?:all|everything)(?: is| are)? (?:dark|out)$`) // may be the lights
	wentRE      = quantity.NewPattern(`(?i)^(?:the |our |this |my |one )?(?:drop|unit) (?:(?:is|has|just|suddenly) )*(?:(?:went|gone|goes|dropped|fell) (?:dark|dead|down|out|off|silent|offline)|dead|down|dark|not working)(?: again)?(?:\s+|$)`)
	noCommsRE   = quantity.NewPattern(`(?i)^(?:(?:(?:the |our |this |my |one )?(?:drop|unit) |it |we |there |i )?(?:(?:is|are|has|have|had|just|suddenly|got|shows|says|reports) )*(?:(?:no|lost|without) (?:comms?|communications?|contact)|(?:comms?|communications?) (?:is |are )?(?:lost|failed|fails|down|gone|dead|out|failure|loss))|(?:the |our |this |my |one )?(?:drop|unit) (?:(?:is|are|has|have|had|just|suddenly|got|shows|says|reports) )*(?:(?:not|isn't|stopped) (?:communicating|answering|responding)|(?:does not|doesn't) (?:communicate|answer|respond)|offline|silent))(?: (?:with|to|from|at|on) (?:the |this |it|our )?(?:drop|unit|host|controller)?)?(?: again| any ?more| at all| now)?(?:\s+|$)`)
	addressesRE = `\d+(?:\s*(?:-|–|to|through|,|and|\s)\s*\d+)*`
	statesRE    = quantity.NewPattern(`(?i)^(?:the )?(?:drops? |units? |stations? )?(` + addressesRE + `)\s*(?::|=|is|are)?\s*(?:all |both )?(?:is |are )?([a-z][a-z _]*)$`)
	othersRE    = quantity.NewPattern(`(?i)^(?:and )?((?:all )?(?:of )?(?:the )?)(?:others?|rest|other drops|remaining)(?: drops| ones)?\s*(?::|=|is|are)?\s*(?:all )?([a-z][a-z _]*)$`)
	alongRE     = quantity.NewPattern(`(?i)^(?:and )?(?:(?:all |both )?(?:of )?(?:the |our |its )?neighbou?rs?(?:ing)?(?: drops?)?|(?:everything|every drop|all|all drops|all the drops|the drops) (?:behind|after|beyond|past|downstream of) (?:drop )?(\d+))\s*(?:is|are)?\s*(?:both |all )?([a-z][a-z _]*)$`)
	lostRE      = quantity.NewPattern(`(?i)^(?:(?:i|we|they) )?(?:have |has )?(?:lost|(?:no|lost) (?:communications?|comms?|contact) (?:with|to))(?: the)? drops? (` + addressesRE + `)$`)
	whenRE      = quantity.NewPattern(`(?i)\b(?:when|from here)`)
	asWellRE    = quantity.NewPattern(`\s+(?:as well|too|also)$`)
	restRE      = quantity.NewPattern(`(?i)\b(dead|down|out|dark|off|good|fine|ok|okay|works?|working) ((?:all )?(?:the )?(?:rest|others) )`)
	orderRE     = quantity.NewPattern(`(?i)^(?:the )?(?:cable )?order(?: along the (?:cable|trunk|line))?(?: is)?\s*[:=]?\s*(` + addressesRE + `)$`)
	supplyRE    = quantity.NewPattern(`(?i)^(?:and )?(?:(?:the |one |same |shared )*supply|supplies)(?: (?:feeds|of|for))?\s*[:=]?\s*(?:drops? )?(` + addressesRE + `)$`)
	shareRE     = quantity.NewPattern(`(?i)^(?:drops? )?(` + addressesRE + `) (?:share|are on|is on|have) (?:a|one|the same|the|its own|their own) supply$`)
	whetherRE   = quantity.NewPattern(`(?i)\b(?:not (?:so |quite )?sure|don't know|dont know|do not know|no idea|cannot (?:say|tell)|can't (?:say|tell)) (?:whether|if)\b|^(?:is|are|was|were|does|should|can|could) (?:it|there|any|plc|(?:the|this) (?:plc|controller|breaker|power|run|fault|drop|unit|plug|cable|fuse|supply|light|host|handheld)s?)\b`)
	exceptRE    = quantity.NewPattern(`(?i)\b(?:except(?: for)?|apart from|other than|all but|everything but|not all|not every)\b`)
	// What was so until somebody did something about it, or until now; then what is said after it.
	wasButRE        = quantity.NewPattern(`(?i)^(.*\b(?:was|were|had been)\b.*?),?\s+(but|and then|and|so|then)\s+((?:i|we|he|she|they|somebody|someone|it)\s+.+|(?:but )?(?:now|is now)\b.+)$`)
	wasRE           = quantity.NewPattern(`(?i)\b(?:was|were|had been) (?:still |already |just |only )?(?:on|off|out|in|open|shut|closed|loose|tripped|dark|dead|down|blown|wrong|missing|disabled|unplugged|switched \w+)$`)
	fitfulRE        = quantity.NewPattern(`(?i)\b(?:intermittent\w*|com(?:es?|ing) and go(?:es|ing)?|(?:some|at )times|now and then|on and off|off and on|time to time|every (?:\w+ )?(?:hours?|days?|nights?|mornings?|weeks?|minutes?|time|now)|(?:an|one|two|some) (?:of the )?(?:outputs?|inputs?|points?|channels?|modules?))\b`)
	fitfulHeadRE    = quantity.NewPattern(`(?i)^(?:(?:it|it's|the|this|our|drop|unit|trouble|fault|is|but|and|only|just|still) )+`)
	butRE           = quantity.NewPattern(`(?i)\b(?:but|only|except|though|although|however|not|\w+n't|dead|down|fails?|failed)\b`)
	didRE           = quantity.NewPattern(`(?i)^(?:i|we|he|she|they|somebody|someone)\s+(?:have |has |had )?(?:\w+ed|put|set|reset|did|shut|made|got|took)\b`)
	seeing          = wordSet("measured checked tested looked noticed observed called phoned need") // changes nothing
	since           = wordSet("now back again works worked runs ran fine ok okay reset restarted until")
	moduleNumbersRE = quantity.NewPattern(`(?i)^(?:the )?(?:modules?|slots?|channels?|points?|outputs?|inputs?)\s+\d+\s*(?:,|and|&)`)
	twoDropsRE      = quantity.NewPattern(`(?i)^(?:the )?(?:drops?|units?|addresses) \d+ (?:and|&) (?:(?:drop|unit) )?\d+(?: both)?\s+`)
	thisDropRE      = quantity.NewPattern(`(?i)^(?:this is|it is|it's|we are at|i am at|i'm at|this drop is|the sick one is|about)?\s*(?:drop|address|drop number)\s*(?:is|=|:)?\s*(\d+)$|^drop (\d+) is (?:the sick one|this one|mine|the one)$|^this drop\s*(?:is|=|:)\s*(\d+)$`)
	otherDropRE     = quantity.NewPattern(`(?i)\bdrops? \d|\b(?:good|neighbou?r\w*|next|others?|beside)\b`)
	bareDropRE      = quantity.NewPattern(`(?i)^(?:drop|address) \d+$`)
	correctionRE    = quantity.NewPattern(`(?i)^(?:(?:no|nope|sorry|oops|wrong|wrong drop|correction|wait|i mean|i meant|not (?:drop )?\d+)[\s,.:]+)+(?:it is |it's |it was |but )?drop (\d+)$`)
	atDropRE        = quantity.NewPattern(`(?i)^(?:(?:at|on|of) )?(?:the )?(?:good |neighbou?r )?drop (\d+)\s*(?:['’]s|:|,|has|reads|shows)?\s+(.+)$|^(?:at|on) drop (\d+)\s*[:,]\s*(.+)$`)
	putRightRE      = quantity.NewPattern(`(?i)^(?:no|nope|sorry|oops|wrong|correction|wait|i mean|i meant)[\s,.:]+(?:it is |it's |it was )?(.+)$`)
	headRE          = quantity.NewPattern(`(?i)^(?:(?:at|on|of) )?(?:the )?(?:good |neighbou?r )?drop \d+\s*[:,]`)
	ofDropRE        = quantity.NewPattern(`(?i)^(.+?)\s+(?:at|on|of) (?:the )?(?:good |neighbou?r )?drop (\d+)\b\s*(.*)$`)
)

// dropStates are the words for the state of a drop.
var dropStates = map[string]string{
	"good": rulebase.DropGood, "ok": rulebase.DropGood, "okay": rulebase.DropGood, "fine": rulebase.DropGood, "well": rulebase.DropGood, "working": rulebase.DropGood,
	"work": rulebase.DropGood, "works": rulebase.DropGood, "healthy": rulebase.DropGood, "up": rulebase.DropGood, "running": rulebase.DropGood, "normal": rulebase.DropGood,
	"up again": rulebase.DropGood, "back": rulebase.DropGood, "back up": rulebase.DropGood, "works again": rulebase.DropGood, "working again": rulebase.DropGood, "ok again": rulebase.DropGood,
	"dead": rulebase.DropDead, "down": rulebase.DropDead, "dark": rulebase.DropDead, "out": rulebase.DropDead, "off": rulebase.DropDead, "lost": rulebase.DropDead,
	"not working": rulebase.DropDead, "failed": rulebase.DropDead, "gone": rulebase.DropDead, "bad": rulebase.DropDead,
	"comes_and_goes": rulebase.DropComesAndGoes, "comes and goes": rulebase.DropComesAndGoes, "come and go": rulebase.DropComesAndGoes, "intermittent": rulebase.DropComesAndGoes,
	"on and off": rulebase.DropComesAndGoes, "coming and going": rulebase.DropComesAndGoes, "drops out": rulebase.DropComesAndGoes, "drop out": rulebase.DropComesAndGoes,
}

// Phrases for what a drop does after work, and for commands: they are the whole of
// a piece, or of an entry.
var (
	stillDownRE = quantity.NewPattern(`(?i)^(?:it is |it's |it |is |but |and |the drop is |the drop )*(?:still (?:down|dead|dark|the same|not working|does not work|doesn't work)|no (?:change|difference|better)|the same|same|unchanged|not working|does not work|doesn't work|did not help|didn't help|no help|down again|went down again)(?: as before| now)?$`)
	sameRE      = quantity.NewPattern(`(?i)^(?:it is |it's |it |is |but |and |still )*(?:the same|same|unchanged|no (?:change|difference))(?: as before| now)?$`)
	wellRE      = quantity.NewPattern(`(?i)^(?:it is |it's |it |is |but |and |the drop is |the drop |all |still )*(?:(?:works|working|well|up|runs|running|fixed|healthy|cured|back|ok|okay|fine|good)(?: (?:now|again|fine|well|and stays up))*)$`)
	bareWellRE  = quantity.NewPattern(`(?i)^(?:(?:it is|it's|that is|that's|they are|they're|it|all|looks?|everything is|yes|still) )*(?:ok|okay|fine|good|well|up|back|healthy)(?: now| again)?$`)
	doneRE      = quantity.NewPattern(`(?i)^(?:(?:i have |i've |we have |we )?(?:done|did (?:it|that|so)|finished|carried out|did|tried))(?:\b|$)[\s,;:.]*(?:and |but |with )?(.*)$`)
	goOnRE      = quantity.NewPattern(`(?i)^(?:go on|go on asking|ask on|continue)$`)
	skipRE      = quantity.NewPattern(`(?i)^(?:i )?(?:don't know|dont know|do not know|no idea|unknown|can't say|cannot say|can't tell|cannot tell|can't|cannot|skip|pass|not now|next|not sure|no answer|none of these|-|\?)$`)
	helpRE      = quantity.NewPattern(`(?i)^(?:help|h|\?\?|how|commands)$`)
	undoRE      = quantity.NewPattern(`(?i)^(?:undo|back|take (?:that|it) back|oops)$`)
	whyRE       = quantity.NewPattern(`(?i)^why$`)
	whyNotRE    = quantity.NewPattern(`(?i)^why not (.+)$`)
	elseRE      = quantity.NewPattern(`(?i)^what else(?: .*)?$`)
	needRE      = quantity.NewPattern(`(?i)^what (?:would|do|does) (?:you|it) need$`)
	detailsRE   = quantity.NewPattern(`(?i)^(?:details?|show all|everything|whole diagnosis)$`)
	knownRE     = quantity.NewPattern(`(?i)^(?:what is known|known|summary|so far)$`)
	listRE      = quantity.NewPattern(`(?i)^(?:list|questions|what can i say)(?:\s+(.*))?$`)
	saveRE      = quantity.NewPattern(`(?i)^(?:stop and save|save and stop|save|stop)(?: (?:it |this )?as (?:a )?case(?: file)?)?(?:\s+(?:as |to |in |under )?([A-Za-z0-9][\w.-]*))?$`)
	quitRE      = quantity.NewPattern(`(?i)^(?:quit|exit|q|bye|end)$`)
	confirmRE   = quantity.NewPattern(`(?i)^(?:i |i have |yes,? i )?confirm(?:ed)?\b[\s:]*(.*)$`)
	confirmsRE  = quantity.NewPattern(`(?i)\s*(?:[,;]|\band\b)\s*(?:confirm(?:ed)?\s+)?`)
	chooseRE    = quantity.NewPattern(`(?i)^(?:do|let's do|i will do|go for|take)\s+(.+)$`)
	numberRE    = quantity.NewPattern(`^#?(\d{1,3})[.)]?$`)
	noRE        = quantity.NewPattern(`(?i)^(?:no|n|nope|no,? (?:not (?:yet|now)|it is not|it isn't))$`)
	yesRE       = quantity.NewPattern(`(?i)^(?:yes|y|ok|okay|sure|yep|yeah|confirmed|confirm|i confirm|go on|continue)$`)
)
