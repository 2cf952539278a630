package reading

// englishSenses are phrases that tell an arrival from the same words in another
// sense, by kind: an errand of a private text, where somebody eats, a journey told
// with an excuse, what has been received of several orders.
var englishSenses = []phraseRow{
	{signNotHere, `
		on your|ur way ; eat|eating|eaten|ate .. in|at|by|on the|a|my ; tell .. at the|a pub|shop|shops|gym|match|office|work|bar ; at the outside ; can not|cant get near|close|into|past ; not here today|tonight|tomorrow|myself ; he|she|they|<name>|<person> <be> there at|by|around <time>
		was|were outside|here|there at|by <time> ; below|down|over|up at the ; sign|lights|queue|bus .. at the corner|end ; in the box|bag|tub|tray there ; all present and correct`},
	{signHere, `
		am|are|is after arriving|landing|parking ; just|have walked up|in|over !to|from
		been standing|sitting|waiting|sat|stood|parked .. there|outside|here|out ; on left|right $ ; first|1st|2nd|second|last|end spot|space|bay|stall`},
	{signComing, `
		back at|by|around|in|for|about? <time>|<dur> ; back <time>|<dur> ; should|will|ought|to be by|round|along|over shortly|soon|directly|later|$ ; <be>? gone|going for it|them|mine|ours .. in <my>? .. <car>
		looking at <time> ; <time> still|is good|fine|ok|okay|grand|on|works ; <time> is? still? good|fine|ok|grand for me|us ; will be there|round|over|along <time>
		they|they have shut|closed a|the lane|road|bridge|street ; behind a|an bus|truck|lorry|tractor|bin ; flat tire|tyre ; halfway|half way? down|up|along|there|through|across|home !the? year|book|week`},
	{signNoComing, `on the|my|our bus|train|tram|tube|way home|back home`},
	{signWillCar, `change|changed|changing|swap|swapped|switch|switched cars|vehicles|vans|trucks ; fetching|collecting|getting|grabbing ours|mine|it not me|us`},
	{signNoCancel, `
		do not|never give|sell|let .. away ; do not|never cancel .. order|it|mine|ours|food ; do not|never give|pass it|mine|ours|them|that to anybody|anyone|somebody|someone|nobody ; give|pass it|mine|ours|them|that to him|her|them|my|me|us|<name>|<person> ; cancel that|my last|previous? message|text|question|msg ; cancel the|these|those|your|all reminders|texts|messages|reminder|updates|notifications`},
	{signStop, `
		cancel the|these|those|your|all reminders|texts|messages|reminder|updates|notifications ; do not|never send me|us the|these|those|your|any reminders|texts|messages|updates
		take|remove|get me|us off the|these texts|text|messages|reminders|list|alerts ; quit|stop|enough with the|these|your reminders|texts|messages|alerts ; quit|stop the reminders|texts|messages|alerts
		take|remove|get this|that number|phone|mobile off|out|from ; take|remove|get my .. number off|out|from`},
	{signNotHere, `never made|make it ..`},
	{signNoMove, `change|swap|switch|exchange .. to|for a|an|the|some <food>|<item>|<allergen>`},
	{signMove, `changing it|mine|ours|that to <time> ; hold|keep|leave mine|ours|it|them|my|our .. till|until <time>`},
	{signNoCancel, `will|can not get|make|reach|arrive|be .. till|until <time> ; will not be|take more|longer|later than`},
	{signNoMove, `will|can not get|make|reach|arrive|be .. till|until <time> ; no|not later than <time>`},
	{signComing, `will|can not get|make|reach|arrive|be .. till|until <time> ; will not be|take more|longer than <dur> ; no|not later than <time>`},
	{signGot, `
		got|have|received the first|second|other|last|1st|2nd one|order|bag|lot ; first|second|other|last|1st|2nd one|order|bag|lot got|received|collected ; i received $ ; got mine|ours !at|for|wrong ; dinner|dinners|lunch|lunches|tea|teas|supper|suppers|meal|meals got|received|collected ; has|have his|hers|theirs|mine|ours !at|for|in|ready|with|to|wrong|by`},
	{signNoProblem, `no call|need|reason to ; in the basket|boot|trunk|pannier|backpack`},
	{signProblem, `<be> not with|among my|our|the|mine|ours order|bag|bags|box|food|$ ; bag|bags|order|box|<item>|<food> never made|make|came|come|arrived|showed|turned it|up|out|$ ; driven|gone|walked|made off with mine|ours|my ; there is|are only? <num> not <num> ; only|just <num> not <num> ; my|his|her|their lips|mouth|throat|tongue|face|throats <be>|<have> .. tingling|tingly|itchy|swollen|swelling|numb|burning|closing`},
	{signLost, `how do|can i|we get up|over|down|round|across|in|to`},
	{signHere, `turning|turned|swinging|swung in now|$ ; in|at|on your|ur doorway|doorstep|porch|step|steps|drive|driveway`},
	{signAway, `halfway|midway down|up|along|there|to|through|across|home ; half way down|up|along|there|to|through|across|home`},
	{signAsk, `whereabouts do|does|should|shall|can|is|are|will ; ^ how do|can i|we get up|over|down|round|across|in|to ; could someone|somebody put|add|leave|bring`},
	{signAllergy, `promised|told|said|assured|swore .. no|without|not <allergen> ; had|has|have|was no|not <allergen>`},
	{signFuture, `i|we|he|she|they|<person>|<name> come|comes at|by|around|about|for? <time> ; i|we|he|she|they|<person>|<name> will|shall|might|may .. at|by|around|about|for <time>`},
	{signCantCome, `do not .. expecting|expect me|us|him|her !until|till|before|by|at|to|<time> ; not turning|showing up !till|until|before|by|at|for|<time>|<dur>`},
}
