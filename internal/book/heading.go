package book

import (
	"regexp"
	"slices"
	"strings"
	"unicode"
)

// field is what a column can be.
type field string

// The fields. Those behind the blank line steer the reading and do not appear
// in an order themselves.
const (
	fRef     field = "order"
	fName    field = "name"
	fFirst   field = "first name"
	fLast    field = "last name"
	fPhone   field = "phone"
	fEmail   field = "email"
	fSlot    field = "slot"
	fSlotEnd field = "slot end"
	fDate    field = "date"
	fItems   field = "items"
	fProduct field = "product"
	fQty     field = "qty"
	fVariant field = "variant"
	fNote    field = "note"
	fAllergy field = "allergy"

	fCreated   field = "ordered on"
	fStatus    field = "status"
	fRefund    field = "refund"
	fTotal     field = "total"
	fCancelled field = "cancelled"
	fTest      field = "test"
	fMethod    field = "method" // how it is fetched; may hold the slot
	fOther     field = "other"  // known to be of no use here
	fCount     field = "count"  // a column of one product's quantities
	fUnknown   field = ""
)

// Fields lists the fields that a mapping may name.
func Fields() []string {
	var out []string
	for _, f := range []field{
		fRef, fName, fFirst, fLast, fPhone, fEmail, fSlot, fSlotEnd, fDate, fItems, fProduct, fQty, fVariant,
		fNote, fAllergy, fStatus, fRefund, fTotal, fCancelled, fTest,
	} {
		out = append(out, string(f))
	}
	return out
}

// side says whose particulars a column holds: the payer's count only where the
// customer's are missing.
type side int

const (
	customer side = iota
	shipping
	billing
)

// heading is what a heading's words say.
type heading struct {
	field  field
	side   side
	weight int // 3 the exact words, 2 near them, 1 a hint
}

// exact finds a field by a whole heading, folded.
var exact = table(headings)

// headings lists whole headings, folded, and what they mean. None stands twice.
var headings = map[field]string{
	fRef: `order|order number|order no|order nr|order id|order ref|order reference|reference|reference number|ref|ref no|id|no|nr|number|
		order code|booking|booking number|booking id|booking reference|ticket|ticket number|confirmation|confirmation number|confirmation code|
		invoice|invoice number|receipt|receipt number|transaction id|sale id|order name|bag|bag number|collection number|submission id|response id|
		pedido|numero de pedido|n de pedido|n pedido|no pedido|num pedido|pedido n|pedido no|id pedido|id de pedido|referencia|numero|codigo|codigo de pedido|bestellnummer|bestellnr|bestell nr|auftragsnummer|numero de commande|n de commande|numero ordine|numero do pedido`,
	fName: `name|customer|customer name|full name|fullname|client|client name|guest|guest name|buyer|buyer name|contact|contact name|who|
		your name|your full name|collection name|name for collection|pickup name|pick up name|collected by|collector|recipient|recipient name|
		ordered by|order for|for|attendee|attendee name|purchaser|customer full name|person|whose|name on order|nombre completo|nombre y apellidos|
		cliente|nombre del cliente|nombre cliente|comprador|destinatario|quien|quien recoge|kunde|kundin|kundenname|nom complet|nom du client|nom et prenom|client nom|nome completo|nome e cognome|nome do cliente`,
	fFirst: `first name|firstname|first|given name|given names|forename|forenames|christian name|customer first name|nombre|nombre de pila|fname|vorname|prenom`,
	fLast:  `last name|lastname|last|surname|family name|second name|customer last name|apellido|apellidos|lname|nachname|familienname|nom de famille|cognome|sobrenome|apelido`,
	fPhone: `phone|phone number|phone no|phone nr|phones|mobile|mobile number|mobile no|mobile phone|mobile phone number|tel|tel no|telephone|
		telephone number|cell|cell phone|cellphone|cell number|contact number|contact no|contact phone|customer phone|customer mobile|whatsapp|
		whatsapp number|text number|sms|sms number|number to text|your phone number|your mobile|your mobile number|your number|best number|
		phone mobile|mobile tel|daytime phone|telefono|telefonos|movil|telefono movil|numero de telefono|numero de movil|celular|tfno|tlf|tel movil|telefono de contacto|telefon|telefonnummer|handy|handynummer|mobil|mobilnummer|telephone portable|portable|numero de telephone|numero di telefono|cellulare|telefone|telemovel`,
	fEmail: `email|e mail|email address|mail|customer email|e mail address|contact email|correo|correo electronico|your email`,
	fSlot: `slot|time|pickup|pick up|collection|collect|collection time|collect at|collection slot|pickup time|pick up time|pickup slot|pick up slot|
		time slot|timeslot|slot time|when|window|collection window|pickup window|pick up window|collecting at|collect time|arrival time|slot start|start|
		start time|from|pickup at|pickup from|collection from|requested time|chosen slot|preferred time|preferred slot|booking time|time of collection|
		delivery time|delivery slot|what time|eta|due|due time|due at|ready at|ready time|ready for|fulfilment time|fulfillment time|appointment|session|
		collection date and time|collection date time|pickup date and time|pickup date time|collection datetime|pickup datetime|
		hora|hora de recogida|hora recogida|franja|franja horaria|recogida|turno|horario|hora de entrega|cuando|zeit|uhrzeit|abholzeit|abholung|abholtermin|zeitfenster|heure|heure de retrait|creneau|creneau horaire|retrait|ora|orario|ritiro|orario di ritiro|horario de retirada|hora de retirada`,
	fSlotEnd: `slot end|end|end time|to|until|till|pickup to|pickup until|collection to|collection end|window end|hasta|hora fin|fin`,
	fDate: `date|collection date|pickup date|pick up date|delivery date|event date|day|collection day|pickup day|pick up day|night|due date|
		date of collection|fulfilment date|fulfillment date|requested date|booking date|slot date|fecha|fecha de recogida|fecha recogida|dia|dia de recogida|fecha de entrega|datum|abholdatum|date de retrait|data|data di ritiro|data de retirada`,
	fItems: `items|order items|products|order details|details|order summary|summary|basket|cart|contents|your order|line items|lines|order lines|dishes|choices|food|
		item list|items ordered|products ordered|what they want|order contents|ordered|selections|menu choices|what|your choices|articulos|productos|platos|detalle|detalle del pedido|contenido|bestellung|artikelliste|commande|articles commandes|ordine|prodotti|produtos|itens`,
	fProduct: `item|item name|product|product name|lineitem name|line item|line item name|lineitem title|dish|description|article|product title|
		item description|menu item|ticket type|producto|articulo|plato|nombre del producto|descripcion|artikel|produkt|gericht|article commande|produit|plat|prodotto|piatto|produto|prato`,
	fQty: `qty|quantity|quantities|count|lineitem quantity|line item quantity|item quantity|item qty|product quantity|product qty|how many|number of|
		pcs|pieces|units|portions|x|cantidad|cant|uds|unidades|ud|tickets|menge|anzahl|stuck|quantite|qte|quantita|quantidade`,
	fVariant: `variant|variation|option|options|size|modifiers|modifier|add ons|addons|add on|lineitem variant|variant title|item options|
		product variation|item variation|product options|item modifiers|item note|item notes|opciones|opcion|variante|tamano|personalisation|personalization|custom fields|lineitem properties`,
	fNote: `note|notes|comment|comments|message|special instructions|instructions|customer note|customer notes|customer comments|order note|
		order notes|remark|remarks|requests|request|special requests|special request|anything else|buyer note|checkout note|additional notes|
		additional information|additional info|info|vehicle|car|car reg|car registration|registration|number plate|car details|car make and model|
		memo|gift note|gift message|internal note|internal notes|private note|staff note|kitchen note|questions or comments|
		nota|notas|comentario|comentarios|observaciones|observacion|mensaje|instrucciones|coche|matricula|indicaciones|bemerkung|bemerkungen|notiz|notizen|anmerkung|anmerkungen|kommentar|hinweis|remarque|remarques|commentaire|commentaires|osservazioni|observacoes`,
	fAllergy: `allergy|allergies|allergens|allergen|dietary|dietary requirements|dietary requirement|dietary needs|dietary notes|dietary info|diet|
		diets|any allergies|food allergies|allergies or dietary requirements|allergies and dietary requirements|allergies dietary|allergy info|
		allergy notes|allergy information|intolerances|alergia|alergias|alergenos|intolerancias|dieta|alergias e intolerancias|allergien|allergie|unvertraglichkeiten|intoleranzen|allergenes|regime alimentaire|allergia`,
	fCreated: `created|created at|created on|order date|order placed|date ordered|ordered at|ordered on|order time|order date time|order created|
		placed|placed at|placed on|date placed|date created|created date|timestamp|time stamp|submitted|submitted at|submission date|submission time|date submitted|
		paid at|paid on|date paid|purchase date|purchased at|payment date|transaction date|completed at|completed date|processed at|updated at|start date|
		fecha de pedido|fecha del pedido|fecha pedido|marca temporal|fecha de compra|fecha de creacion|booked on|booked at`,
	fStatus: `status|order status|state|financial status|payment status|order state|paid|payment state|estado|estado del pedido|estado de pago|pagado|booking status|zahlungsstatus|statut|stato`,
	fRefund: `refund|refunded|refund amount|refunded amount|amount refunded|order refund amount|total refunded|refunds|money back|reembolso|reembolsado|importe reembolsado|devolucion|devuelto`,
	fTotal:  `total|order total|amount|grand total|total amount|total price|amount paid|order amount|total paid|net total|importe|importe total|total pedido|subtotal|line total|lineitem total|item total|net sales|gross sales`,
	fCancelled: `cancelled|canceled|cancelled at|canceled at|cancelled on|cancellation date|cancelled date|cancellation reason|cancel reason|
		cancelado|cancelada|anulado|fecha de cancelacion`,
	fTest:   `test|is test|test order|test mode|prueba`,
	fMethod: `shipping method|delivery method|fulfilment method|fulfillment method|shipping|delivery|delivery option|collection point|pickup location|collection location|location|shipping line|delivery type|order type|tags|tipo de entrega|lugar|delivery collection|collection delivery|collection or delivery|delivery or collection|pickup or delivery|delivery or pickup|pickup delivery`,
	fOther: `address|street|address 1|address 2|address line 1|address line 2|city|town|county|province|zip|postcode|post code|postal code|country|country code|
		state code|company|currency|tax|taxes|vat|discount|discount code|discount amount|coupon|shipping cost|shipping total|fee|fees|tip|price|unit price|
		item price|lineitem price|item cost|product price|price each|cost|lineitem sku|sku|item sku|product sku|product id|variant id|item id|vendor|payment method|
		payment gateway|gateway|source|channel|device|ip|ip address|weight|fulfillment status|fulfilment status|lineitem fulfillment status|
		lineitem requires shipping|lineitem taxable|lineitem discount|lineitem compare at price|accepts marketing|marketing|newsletter|
		language|risk level|row|row number|line|line number|line no|s no|sr no|seq|index|
		total items|total quantity|total qty|item count|items count|number of items|no of items|done|packed|collected|tick|
		direccion|calle|ciudad|codigo postal|pais|precio|precio unitario|metodo de pago|iva|descuento|unit|category|item category|age|people|guests|party size|points|covers|headcount|adults|children|kids|seats|table|table number|customer id|user id|client id|member id`,
}

// table turns the lists round. No word stands in two of them.
func table(words map[field]string) map[string]field {
	out := map[string]field{}
	for f, list := range words {
		for w := range strings.SplitSeq(list, "|") {
			out[strings.TrimSpace(w)] = f
		}
	}
	return out
}

// hints are tried in turn on headings that are not listed.
var hints = []struct {
	field field
	words func() *regexp.Regexp
}{
	{fOther, pattern(`\b(address|street|city|postcode|zip|country|province|company|tax|discount|price|sku|currency|marketing|consent|agree|newsletter|accept|privacy|direccion|precio)\b`)},
	{fAllergy, pattern(`allerg|alergi|dietary|intoleran|\bdiet\b|coeliac|celiac|gluten`)},
	{fCreated, pattern(`\b(created|placed|submitted|ordered (at|on)|paid (at|on)|timestamp|order date|purchase date)\b`)},
	{fCancelled, pattern(`\bcancel`)},
	{fRefund, pattern(`\brefund|\breembols|money back`)},
	{fEmail, pattern(`\be ?mail\b|\bcorreo\b`)},
	{fPhone, pattern(`\b(phone|mobile|telephone|cell|whatsapp|telefono|movil|celular)\b|\btel\b`)},
	{fFirst, pattern(`\b(first|given) name\b|\bforename\b`)},
	{fLast, pattern(`\b(last|family) name\b|\bsurname\b|\bapellidos?\b`)},
	{fNote, pattern(`\b(notes?|comments?|instructions?|remarks?|requests?|anything (else|we)|message|vehicle|car reg|registration|number plate|observaciones|notas?|comentarios?)\b|\bwhat (are you|car|vehicle)\b|\bcar\b`)},
	{fQty, pattern(`\b(qty|quantity|cantidad)$`)},
	{fSlotEnd, pattern(`\b(slot|window|pickup|pick up|collection|time) (end|to|until)\b|\bend time\b`)},
	{fSlot, pattern(`\b(time|slot|window|hora|franja)\b|\bwhen (will|would|are|do)\b|\b(collect|pick ?up)\b.*\b(when|time)\b`)},
	{fDate, pattern(`\b(date|day|fecha|dia)\b`)},
	{fProduct, pattern(`\b(item|product|dish|producto|articulo|plato)( name| title)\b`)},
	{fItems, pattern(`\b(items|products|basket|order details|choose your|what would you like|your order|productos|dishes)\b`)},
	{fStatus, pattern(`\b(order|payment|financial) (status|state)\b`)},
	{fRef, pattern(`\b(order|booking|reference|confirmation|pedido)\b.*\b(no|nr|number|id|ref|code|numero)\b|\breference\b`)},
	{fTotal, pattern(`\btotal\b|\bamount\b|\bimporte\b`)},
	{fName, pattern(`\b(your|customer|client|full|guest|contact|collection|pickup|buyer|person) name\b|\bname (of|for|on)\b|\bname$|\b(who is|whos|who will be) (collecting|picking)|\bnombre\b`)},
	{fMethod, pattern(`\b(shipping|delivery|pickup|collection) (method|option|location|point)\b`)},
}

// currency are words that say in what an amount is.
var currency = map[string]bool{"gbp": true, "usd": true, "eur": true, "aud": true, "cad": true, "nzd": true, "pounds": true, "euros": true}

// sides are the words in front of a heading that say whose it is.
var sides = []struct {
	words string
	side  side
}{
	{"billing", billing}, {"bill to", billing}, {"payer", billing}, {"cardholder", billing}, {"invoice", billing}, {"facturacion", billing},
	{"shipping", shipping}, {"ship to", shipping}, {"delivery", shipping}, {"recipient", shipping}, {"envio", shipping},
}

// readHeading says what a heading means; the field is fUnknown where the words
// say nothing.
func readHeading(s string) heading {
	words := fold(camel(s))
	if words == "" {
		if strings.TrimSpace(s) == "#" {
			return heading{field: fRef, weight: 3}
		}
		return heading{}
	}
	if f, ok := exact[words]; ok {
		return heading{field: f, weight: 3}
	}
	words = strings.Join(slices.DeleteFunc(strings.Fields(words), func(w string) bool {
		return currency[w] || atoi(w) >= 0
	}), " ")
	if f, ok := exact[words]; ok {
		return heading{field: f, weight: 2}
	}
	whose := customer
	for _, x := range sides {
		if rest, ok := strings.CutPrefix(words, x.words+" "); ok {
			words, whose = rest, x.side
			break
		}
		if rest, ok := strings.CutSuffix(words, " "+x.words); ok {
			words, whose = rest, x.side
			break
		}
	}
	for _, lead := range []string{"order ", "customer ", "contact ", "buyer ", "client ", "your ", "the "} {
		if f, ok := exact[words]; ok {
			return heading{field: f, side: whose, weight: 3}
		}
		words = strings.TrimPrefix(words, lead)
	}
	if f, ok := exact[words]; ok {
		return heading{field: f, side: whose, weight: 2}
	}
	for _, h := range hints {
		if h.words().MatchString(words) {
			return heading{field: h.field, side: whose, weight: 1}
		}
	}
	return heading{}
}

// camel puts spaces into "orderNumber" and "customer.firstName".
func camel(s string) string {
	var b strings.Builder
	var before rune
	for _, r := range s {
		if unicode.IsUpper(r) && unicode.IsLower(before) {
			b.WriteByte(' ')
		}
		b.WriteRune(r)
		before = r
	}
	return b.String()
}
