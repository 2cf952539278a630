package reading

// french phrases, as written in Canada and by visitors. Words are as Tokens writes
// them: without accents, elisions taken apart where frenchShorthand says so.
var french = []phraseRow{
	{signStop, `arretez|arrete|arreter de .. ecrire|texter|envoyer|ecrivez ; arretez|arreter|arrete de|ces|vos|avec .. textos|texto|messages|sms|ecrire|envoyer|texter ; plus|pas de textos|texto|messages|sms|rappels ; ne .. textez|texte|ecrivez|envoyez plus ; desabonnez|desabonner|desinscrire|desinscrivez ; retirez|enlevez|supprimez .. moi|liste|numero`},
	{signStart, `recommencez|reprenez|reprendre|recommencer .. textos|messages|rappels ; remettez moi .. liste ; reabonnez|reabonner`},
	{signHere, `
		je|on suis|est la|ici|icitte|rendu|rendue|rendus|dehors|devant|arrive|arrivee|arrives|stationne|stationnee|stationnes|gare|garee|gares|parke|parkee|parque !dans ; suis|sommes|est|sont la|rendu|rendue|rendus|arrive|arrivee|arrives|dehors|devant|stationne|stationnee|stationnes|gare|garee !quand
		<name>|<person>|il|conjoint|chum|blonde est|sont la|ici|icitte|dehors|devant|arrive|arrivee|rendu|rendue ; ^ la $ ; ^ ici ; icitte $ ; me|nous|le voila|voici ; ^ rendu|rendue|rendus ; ^ arrivee|arrives
		je attends|attend dehors|devant|dans|ici|icitte|la|a|au ; on attend dehors|devant|dans|ici|icitte ; devant la|le|chez|votre|vous|ta|maison|porte|garage|eglise ; a|dans la|le|votre porte|parking|stationnement|entree|cour|fenetre|cour ; viens|vient|venu|venue|venus de|juste arriver|chercher|ramasser|recuperer|prendre ; en avant|arriere $`},
	{signPlace, `a gauche|droite de ; pres|proche|derriere|en face|en arriere|au coin de|la|le|votre ; stationne|stationnee|gare|garee ; flashers|hazards`},
	{signNotHere, `
		quand|lorsque que|si|avant que|de je|on|nous|il|vais .. la|ici|arrive|arrivee|arrives|rendu|rendue|arriver ; vais|va|allons|serai|sera|serons|seront|peux|peut .. la|ici|arriver|dehors|devant ; pas encore la|ici|arrive|arrivee|rendu|rendue ; presque la|arrive|rendu|rendue ; la|ici a|vers|dans|pour <time>|<dur>|<num> ; est il|tu|vous la ; etre la|ici ; habite|reste|vit ici|la|icitte ; au|a la stop|lumiere|lumieres|feux|feu|maison|job|bureau|travail|ecole|epicerie|hopital|aeroport|gare|pont ; voila|voici la|le|ma|mon|notre`},
	{signAway, `pas encore la|ici|arrive|arrivee|arrives|rendu|rendue|rendus|parti|partie|partis ; toujours|encore au|a|sur|dans|pris|prise|coince travail|bureau|maison|route|trafic|job|pont ; suis|sommes au|a la? stop|lumiere|lumieres|feux|feu|maison|job|bureau|travail|ecole|pont ; est au stop|feu|pont`},
	{signBeen, `ca fait <dur>|un|une|longtemps|quelques|plus .. ; depuis <dur>|un|tantot|longtemps ; attends|attend|attendons depuis|toujours|encore`},
	{signHurry, `depechez|depeche ; pressez ; il fait froid ; peux|peut pas sortir|bouger|marcher|rester ; fauteuil roulant ; pouvez|peux|pourriez vous|tu .. sortir|apporter|amener|venir|aider`},
	{signCancel, `annuler|annulez|annule|annulation ma|la|mon|notre|tout|svp|commande|pour|$ ; dois|doit|veux|voudrais|voulons|faut|vais|va|devons annuler ; viendrai|viendra|viendrons|viens|vient|venons|passerai|passera|passerons|peux|pourrai|pourra|pourrons pas !avant|plus|que .. ; pas capable|pouvoir .. venir|passer|aller ; vendez|donnez|donne le|la .. a|quelqu|au ; vendez le|la ; laissez|laisse faire|tomber ; personne viendra|va venir ; veux|besoin plus|pas .. commande`},
	{signMove, `changer|change|changez|deplacer|deplacez|remettre|repousser|reporter|avancer|retarder|decaler .. pour|a|heure|jour|ma|mon|notre|la|mardi|mercredi|jeudi|vendredi|samedi|dimanche|lundi|demain ; possible de|que .. passer|venir|changer|plus|deplacer ; peux|peut|puis|pourrais|pourrait|peut on|je|tu .. passer|venir .. plus|a|vers|demain ; plus tard|tot ; autre|different heure|jour|journee|soir ; heure plus tard|tot ; au lieu|place de`},
	{signNoMove, `vais|va|serai|sera|arriver|arrive|arrivons|un peu plus tard`},
	{signComing, `
		on|il|<name>|<person> .. vient $ ; je .. viens $
		arrive|arrivons|arrivera|arriverai|arriverons|arrivent dans|vers|bientot|tantot ; arrive|arrivons|arrivera|arriverai|arriverons|arrivent a|pour <time> ; arrive tout de suite ; je|on|nous arrive|arrivons $ ; en route|chemin ; pars|part|partons|parti|partie|partis de|maintenant|la|dans|tantot|tout|$ ; nous vient|viens|venons ; pris|prise|pogne|pognee|coince|coincee|coinces|bloque|bloquee dans|sur|derriere|au|a|en ; en retard ; retard de <dur>|<num> ; <dur> de? retard|plus
		dans <dur>|<num> ; dans un|une|quelques|une minute|instant|moment|ptit|petite|minutes ; repasse|repasserai|passe|passerai|passera|passerons|viendrai|viendra|viendrons|reviens|reviendrai|viens|vient|serai|sera|serons|etre .. a|vers|pour|autour <time> ; serai|sera|serons|etre la .. a|vers|dans|pour|lundi|demain ; presque la|rendu|rendue|arrive ; bientot la ; au prochain|coin de|rue ; conduit on|je ; trafic|circulation ; tourne|tournons en ; <dur> encore|de plus ; <num> de plus ; pas long ; pas longue ; encore <dur>|<num>`},
	{signNoComing, `a quelle heure ; viens|vient de|juste arriver|chercher ; viendrai|viendra|viendrons|vient|viens|viendrez pas`},
	{signFuture, `vais|va|allons|vont|allez !bien ; serai|sera|serons|seront ; viendrai|viendra|viendrons|passerai|passera|passerons|arriverai|arrivera|arriverons|prendrai|prendra|ramasserai|ramassera|viendront ; demain|lundi|mardi|mercredi|jeudi|vendredi|samedi|dimanche ; a tantot|bientot|demain ; ce soir|ceci`},
	{signCond, `quand|lorsque ; aussitot que ; si je|on|tu|vous`},
	{signWillCar, `viens|vient|viendrai|viendra|viendrons|venons|vais|serai|sera|serons|etre|arrive .. en|avec|dans .. <car>|<plate> ; ca|ce|cela sera|est|va .. <car> ; mon|ma|notre auto|char|voiture|camion|vehicule|van|plaque est|cest ; avec le|la|un|une|mon|ma|notre .. <car> ; a pied|velo|bicyclette ; en velo|autobus|bus|taxi|moto|scooter ; conduis|conduit un|une|le|la|mon|ma`},
	{signNowCar, `dans|en le|la|un|une|mon|ma|notre .. <car> ; plaque|plaques|immatriculation est? <plate> ; auto|char|voiture|camion|van <car> ; la|le <car>`},
	{signNoCar, `pas de|dauto char|voiture|auto|permis ; a pied ; je marche ; en marchant`},
	{signProblem, `manque|manquait|manquent|manquaient !pas ; il manque ; pas recu|eu|inclus|mis|dans le sac|la|le|ma|mon|de ; mauvais|mauvaise sac|commande|boite|plat ; pas le|la|ma|mon|notre bon|bonne|bons|commande|sac|boite ; froid|froide|cru|crue|brule|brulee|brules|renverse|renversee|coule|pourri|pourrie|congele|congelee|dur|dure ; oublie|oublier|oublies ma|mon|mes|la|le|de|un|une|nos ; un? cheveu|cheveux|poil|plastique|os .. dans ; malade|malades|vomi ; charge|chargee|facture deux|double ; goute|goutte|sent bizarre|mauvais|drole ; commande a|de quelqu|autre ; remboursement|rembourser`},
	{signNoProblem, `pas de probleme|trouble|souci ; aucun probleme ; mauvais|mauvaise numero ; il fait froid ; oublie pas|que ; est malade ; suis malade`},
	{signNobody, `personne !de|qui .. sort|repond|vient|est|icitte|ici|en|la|a|ouvre|dehors ; y a|avait pas? personne ; ya personne ; a personne ; nobody sort`},
	{signAsk, `
		est .. ce que|quon|quil ; peux|peut|pouvez|pourriez|pourrais|puis|pourrait .. tu|on|vous|je|il ; cest|est quoi|ou|quand|combien|qui|comment|quel|quelle ; cest|est tu ; combien .. ; ou est|es|etes|dois|sont|puis|faut|se|on|je|ca ; a quelle heure|adresse|place ; quel|quelle|quels|quelles heure|adresse|porte|jour|numero|entree|rue|est|sont ; comment on|je|faire|ca|me|puis ; avez|as|aurez|auriez|prenez|acceptez|faites|vendez|livrez|offrez .. vous|tu ; y a .. il|tu ; ya tu ; il y a .. stationnement|parking ; encore|toujours possible|ouvert|temps ; cest|est correct|possible|ok si|que|de|pour ; quest .. ce ; reste .. il|tu ; dois je|on ; faut il|tu ; sont|contient|contiennent ils|de ; pourquoi`},
	{signNoAsk, `y a personne ; quand je|on|nous|il ; comme quoi ; nimporte quand ; voici|voila ou`},
	{signRequest, `pouvez|pourriez|peux|pourrais vous|tu .. ; sil vous|te plait .. ; svp .. apportez|apporter|garder|mettre|ajouter|envoyer ; apportez|apporter|gardez|garder|ajoutez|ajouter|mettez .. svp|moi|nous|dehors|une|un|la|le ; je|on voudrais|voudrait|aimerais|aimerait|veux|veut|jaimerais .. ajouter|changer|avoir|commander|payer|savoir|un|une|plus ; sans oignons|oignon|coriandre|fromage|arachides|noix|sauce|gluten ; besoin de|dun|dune`},
	{signThanks, `
		merci|mersi|mci ; parfait|parfaite ; daccord|dac ; cest|est correct|bon|note|parfait|excellent|delicieux|super ; a tantot|bientot|demain|lundi|plus|ce ; bonne soiree|journee|fin|semaine ; etait|etaient|sont|est|trop|tellement|super|tres|vraiment bon|bons|bonne|bonnes|delicieux|delicieuse|excellent|excellents|malade ; delicieux|delicieuse|succulent ; bien recu ; bienvenue ; de rien ; a la prochaine ; salutations ; vous etes .. <praise>|gentil|gentils|gentille|fins|fines|meilleurs ; on a adore|aime ; a adore ; ai|avons adore ; hate de ; bon appetit ; oui ; ok ; bravo ; genial|geniale ; chapeau ; felicitations ; mille merci|mercis ; desole|desolee`},
	{signGot, `ai|avons|a bien? recu|pris|ramasse|eu|mange tout|ma|la|notre|le|nos|mes ; tout|toute mange|recu|pris|la ; on|je a|ai mange ; bien mange ; <praise> bouffe|repas|souper ; cetait|etait bon|delicieux|excellent|parfait|malade`},
	{signPrivate, `mon|ma amour|cheri|cherie|coeur|bebe|chou ; je taime ; achete|achetez lait|pain|biere ; viens souper ; bonne fete ; tu es? rendu ; quest ce tu|que fais`},
	{signWrong, `mauvais|mauvaise|pas|trompe|trompee le? bon? numero|personne|de ; pas le bon numero ; trompe|trompee de numero ; qui|cest est|cest qui|ce|ca $ ; connais pas ; jamais .. commande`},
}

// frenchShorthand takes the elisions apart that a phrase needs, and what is spoken.
const frenchShorthand = `
jarrive=je arrive
jattends=je attends
jattend=je attend
jai=je ai
jaimerais=je aimerais
jsuis chuis chui chu=je suis
jvais jvas=je vais
jviens=je viens
jpeux=je peux
jveux=je veux
jpars=je pars
jserai=je serai
jte=je te
dici=de ici
lecole=la ecole
lentree=la entree
leglise=la eglise
ladresse=la adresse
lheure=la heure
lauto=la auto
dauto=de auto
aujourdhui=today
svp stp=please
`
