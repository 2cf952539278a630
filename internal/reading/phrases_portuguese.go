package reading

// portuguese phrases, as visitors write them. Words are as Tokens writes them, without
// accents; what Spanish writes the same way stands there.
var portuguese = []phraseRow{
	{signHere, `ja? ta|esta|estao|to|estou|estamos ai|aqui|fora ; la fora ; estou|esta|estamos|estao na|no|em porta|portao|frente|entrada|estacionamento ; na porta|entrada ; no portao|estacionamento ; cheguei ; chegamos !as|em|daqui ; ja chegou`},
	{signAway, `nao|ainda .. cheguei|chegamos|chegou|saimos|sai|saiu|estou|estamos ; ainda nao ; ainda em|no|na casa|trabalho|transito`},
	{signNotHere, `quando|antes que|de? chegar|chegarmos|cheguei`},
	{signComing, `saindo ; a caminho ; chegando !aqui|ai ; indo ai|para|pra|buscar ; chego|chegamos|chega|estou|estamos em|as|daqui <dur>|<num>|<time>|a ; daqui a? <dur>|<num> ; <dur> ainda ; ainda <dur> ; vou|vamos atrasar|demorar ; atrasado|atrasada|atrasados ; transito`},
	{signGot, `peguei|pegamos|recebi|recebemos !mensagem`},
	{signThanks, `perfeito|perfeita ; obrigado|obrigada ; brigado|brigada ; valeu ; beleza`},
}
